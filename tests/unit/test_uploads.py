"""Uploads: names from outside, sizes, tokens, what is kept and for how long; and that what was checked is what is loaded."""

import errno
import io
import os
import shutil
import stat
from collections.abc import Iterator
from pathlib import Path
from typing import Any, cast

import pytest
from flask.testing import FlaskClient

from dashboard.app import create_app
from dashboard.questions.door.asking import Asker
from dashboard.web import uploads as module
from dashboard.web.upload_names import shown_name, unlike
from dashboard.web.uploads import MOST_FILES, Uploads
from etl.history import foresee
from etl.load import load
from shared.errors import InputUnusableError, UploadError, UsageError, WarehouseBusyError, WarehouseChangedError, WarehouseError
from shared.files import held
from shared.settings import Settings
from shared.settings_running import Upload
from shared.warehouse import open_reading
from shared.working import PLACE
from tests.spec.tables import write_csv
from tests.spec.test_load import FIRST, TODAY

GOOD = b"rider_id,birth_year\nR3,1985\n"
BROKEN = b"rider_id,birth_year,height_cm\nR4,1985,17\nR5,1986,\n"
MAPPINGS = Path(__file__).resolve().parents[2] / "etl/mappings"


@pytest.fixture(scope="module")
def loaded_once(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("small")
    load([write_csv(folder / "exports", **FIRST)], folder / "w.duckdb", today=TODAY)
    return folder / "w.duckdb"


@pytest.fixture
def path(loaded_once: Path, tmp_path: Path) -> Path:
    """A small warehouse of the test's own."""
    shutil.copyfile(loaded_once, tmp_path / "w.duckdb")
    return tmp_path / "w.duckdb"


@pytest.fixture
def place(path: Path) -> Path:
    """Where working copies of the warehouse lie."""
    return path.parent / PLACE


@pytest.fixture
def uploads(path: Path) -> Uploads:
    return Uploads(path, Settings())


def sent(*files: tuple[str | None, bytes]) -> Iterator[tuple[str | None, Any]]:
    return ((name, io.BytesIO(content)) for name, content in files)


def lying(place: Path) -> list[Path]:
    """Every file of an upload that lies in the place."""
    return [file for file in place.rglob("*") if file.is_file() and file.suffix != ".lock"]


def riders(path: Path) -> set[str]:
    warehouse = open_reading(path)
    found = {row["rider_id"] for row in warehouse.rows("SELECT rider_id FROM core.riders")}
    warehouse.close()
    return found


@pytest.mark.parametrize(
    ("given", "shown"),
    [
        ("riders.csv", "riders.csv"),
        ("../../etc/riders.csv", "riders.csv"),
        ("..\\..\\riders.csv", "riders.csv"),
        ("/riders.csv", "riders.csv"),
        ("C:\\exports\\riders.csv", "riders.csv"),
        ("ri\0ders\r\n.csv", "riders.csv"),
        ("riders\u202evsc.exe", "ridersvsc.exe"),
        ("..", "unnamed"),
        ("", "unnamed"),
        (None, "unnamed"),
        ("\ud800.csv", "csv"),
        ("Fitter\u0065\u0301e.csv", "Fitter\u00e9e.csv"),
    ],
)
def test_a_name_from_outside_is_its_last_part_on_one_line(given: str | None, shown: str) -> None:
    assert shown_name(given) == shown


def test_a_very_long_name_keeps_its_beginning_and_its_ending() -> None:
    shown = shown_name("riders-" + "x" * 5000 + ".csv.gz")
    assert len(shown) < 100
    assert shown.startswith("riders-") and shown.endswith(".csv.gz")


def test_a_second_file_of_a_name_is_numbered_and_keeps_its_table_and_form() -> None:
    assert unlike("riders.csv", set()) == "riders.csv"
    assert unlike("Riders.csv.gz", {"riders.csv.gz", "riders-2.csv.gz"}) == "Riders-3.csv.gz"


@pytest.mark.parametrize(
    "name", ["../../riders.csv", "/riders.csv", "riders.csv\0", "r" * 5000, "", "CON", "..\\x", "ri\nders"]
)
def test_files_lie_under_numbers_in_a_private_folder_whatever_they_are_called(
    uploads: Uploads, place: Path, tmp_path: Path, name: str
) -> None:
    before = {file for file in tmp_path.rglob("*") if place not in file.parents and file != place}
    uploads.receive(sent((name, GOOD)))
    (file,) = lying(place)
    assert file.stem == "0001" and file.suffix in {".csv", ".bin"}
    for folder in (place, file.parent):
        assert stat.S_IMODE(folder.stat().st_mode) == 0o700
    assert {file for file in tmp_path.rglob("*") if place not in file.parents and file != place} == before


def test_files_of_one_name_are_all_checked_and_told_apart(uploads: Uploads) -> None:
    token = uploads.receive(sent(("a/riders.csv", GOOD), ("b/riders.csv", BROKEN)))
    assert [(file.file, file.stored, file.cells) for file in uploads.check(token).files] == [
        ("riders.csv", 1, 0),
        ("riders-2.csv", 2, 1),
    ]


def test_a_check_writes_nothing_and_a_load_writes_what_was_checked(uploads: Uploads, path: Path, place: Path) -> None:
    before = path.read_bytes()
    token = uploads.receive(sent(("riders.csv", BROKEN)))
    report = uploads.check(token)
    assert (report.files[0].stored, report.files[0].rejected, report.files[0].cells) == (2, 0, 1)
    assert [row["value"] for row in uploads.findings(token)] == ["17"]
    assert path.read_bytes() == before
    assert uploads.load(token).load_id == 2
    assert riders(path) == {"R1", "R2", "R4", "R5"}
    assert lying(place) == []
    assert [row[0] for row in uploads.rejects("riders").files[0].rows] == ["R4"]
    with pytest.raises(UploadError, match="loaded already"):
        uploads.load(token)


def test_the_step_of_a_check_is_told_while_it_runs(uploads: Uploads, monkeypatch: pytest.MonkeyPatch) -> None:
    seen: list[str] = []
    token = uploads.receive(sent(("riders.csv", GOOD)))
    tell = module.Upload.tell

    def told(upload: module.Upload, done: int, total: int, words: str) -> None:
        tell(upload, done, total, words)
        seen.append(uploads.step(token))

    monkeypatch.setattr(module.Upload, "tell", told)
    uploads.check(token)
    assert seen[0].startswith("Step 1 of ") and seen[0].endswith("opening the files")
    assert seen[1].startswith("Step 2 of ") and seen[1].endswith("reading riders.csv")
    assert uploads.step(token) == uploads.step("guess") == ""


def test_a_check_without_room_for_a_copy_is_a_sentence(uploads: Uploads, monkeypatch: pytest.MonkeyPatch) -> None:
    token = uploads.receive(sent(("riders.csv", GOOD)))

    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr("shared.rewriting.shutil.copyfile", full)
    with pytest.raises(WarehouseError, match=r"could not be checked on a copy .*No space left.* Nothing was written"):
        uploads.check(token)


def test_what_is_put_aside_is_gone(uploads: Uploads, path: Path, place: Path) -> None:
    token = uploads.receive(sent(("riders.csv", GOOD)))
    uploads.put_aside(token)
    uploads.put_aside(token)
    assert lying(place) == []
    with pytest.raises(UploadError, match="no longer kept"):
        uploads.check(token)
    assert riders(path) == {"R1", "R2"}


def test_a_warehouse_that_changed_after_the_check_is_checked_again(uploads: Uploads, path: Path, tmp_path: Path) -> None:
    token = uploads.receive(sent(("riders.csv", GOOD)))
    assert uploads.check(token).files[0].stored == 1
    load([write_csv(tmp_path / "other", riders="rider_id | birth_year\nR3 | 1985\nR9 | 1970\n")], path, today=TODAY)
    between = path.read_bytes()
    with pytest.raises(WarehouseChangedError, match="another load came between"):
        uploads.load(token)
    assert path.read_bytes() == between
    again = uploads.check(token)
    assert (again.files[0].stored, again.files[0].unchanged) == (0, 1)
    assert uploads.load(token).load_id is None


def test_files_that_changed_after_the_check_are_not_loaded(uploads: Uploads, path: Path, place: Path) -> None:
    token = uploads.receive(sent(("riders.csv", GOOD)))
    uploads.check(token)
    lying(place)[0].write_bytes(b"rider_id,birth_year\nR6,1985\n")
    with pytest.raises(WarehouseChangedError, match="no longer those that were checked"):
        uploads.load(token)
    assert riders(path) == {"R1", "R2"}


def test_what_was_not_checked_is_not_loaded(uploads: Uploads) -> None:
    with pytest.raises(UploadError, match="not checked yet"):
        uploads.load(uploads.receive(sent(("riders.csv", GOOD))))


def test_a_busy_warehouse_tells_its_sentence(uploads: Uploads, path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "WAIT_SECONDS", 0.0)
    token = uploads.receive(sent(("riders.csv", GOOD)))
    uploads.check(token)
    with held(path):
        with pytest.raises(WarehouseBusyError, match="another load is writing"):
            uploads.load(token)
        with pytest.raises(WarehouseBusyError, match="another load is writing"):
            uploads.take_back(1)
    assert uploads.load(token).load_id == 2


def test_threads_are_left_for_the_pages(uploads: Uploads) -> None:
    token = uploads.receive(sent(("riders.csv", GOOD)))
    with uploads._one_of_few(), uploads._one_of_few():
        with pytest.raises(WarehouseBusyError, match="Try again when they are done"):
            uploads.check(token)
        with pytest.raises(WarehouseBusyError):
            uploads.take_back(1)
    assert uploads.check(token).files[0].stored == 1


def test_a_second_press_does_not_load_twice(uploads: Uploads) -> None:
    token = uploads.receive(sent(("riders.csv", GOOD)))
    with uploads._at_work(token), pytest.raises(UploadError, match="worked on already"):
        uploads.check(token)


def test_readers_know_their_own_token_only(uploads: Uploads) -> None:
    one, other = uploads.receive(sent(("riders.csv", GOOD))), uploads.receive(sent(("riders.csv", BROKEN)))
    assert one != other and min(len(one), len(other)) >= 43
    assert [uploads.check(token).files[0].read for token in (one, other)] == [1, 2]
    assert [len(uploads.findings(token)) for token in (one, other)] == [0, 1]
    uploads.put_aside(one)
    assert uploads.load(other).load_id == 2
    for guess in ("", "x", one[:-1], "../" + other):
        with pytest.raises(UploadError):
            uploads.findings(guess)


def test_too_much_is_refused_and_nothing_of_it_stays(path: Path, place: Path) -> None:
    uploads = Uploads(path, Settings(upload=Upload(largest_mb=1)))
    half = b"x" * 600_000
    uploads.receive(sent(("riders.csv", half)))
    assert len(lying(place)) == 1
    with pytest.raises(UploadError, match=r"larger than the 1 MB .* fitledger load FOLDER"):
        uploads.receive(sent(("riders.csv", half), ("fitters.csv", half)))
    assert len(lying(place)) == 1
    with pytest.raises(UploadError, match=r"Pack them as one \.zip"):
        uploads.receive(sent(*[("riders.csv", b"")] * (MOST_FILES + 1)))
    with pytest.raises(UploadError, match="No file arrived"):
        uploads.receive(sent())
    assert len(lying(place)) == 1


class _FullDisk(io.BytesIO):
    def read(self, size: int | None = -1, /) -> bytes:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))


def test_a_full_disk_is_a_sentence(uploads: Uploads, place: Path) -> None:
    with pytest.raises(WarehouseError, match=r"could not be kept for checking .*No space left.* Free some space"):
        uploads.receive([("riders.csv", _FullDisk())])
    assert lying(place) == []


def test_what_is_late_is_put_aside(path: Path, place: Path) -> None:
    now = [0.0]
    uploads = Uploads(path, Settings(), clock=lambda: now[0])
    late = uploads.receive(sent(("riders.csv", GOOD)))
    now[0] = 59 * 60
    kept = uploads.receive(sent(("riders.csv", GOOD)))
    assert len(lying(place)) == 2
    now[0] = 60 * 60
    uploads.sweep()
    assert len(lying(place)) == 1
    with pytest.raises(UploadError, match="after 60 minutes"):
        uploads.check(late)
    assert uploads.check(kept).files[0].stored == 1


def test_a_killed_servers_files_go_with_the_next_work_and_nothing_else_does(path: Path, place: Path, uploads: Uploads) -> None:
    uploads.receive(sent(("riders.csv", GOOD)))
    (held,) = place.iterdir()
    left, linked, outside = place / "left", place / "linked", path.parent / "outside"
    for folder in (left, outside):
        folder.mkdir()
        (folder / "riders.csv").write_bytes(GOOD)
    linked.symlink_to(outside)
    Uploads(path, Settings()).receive(sent(("fitters.csv", b"fitter_id,fitter_name\nF9,Ash\n")))
    assert not left.exists() and held.is_dir() and linked.is_symlink() and (outside / "riders.csv").is_file()
    assert sorted(file.read_bytes()[:5] for file in lying(place)) == [b"fitte", b"rider"]


@pytest.mark.parametrize("address", ["127.0.0.1", "127.0.0.9", "::1", "::ffff:127.0.0.1"])
def test_readers_on_this_machine_may_load(uploads: Uploads, address: str) -> None:
    uploads.require_allowed(address)


@pytest.mark.parametrize("address", ["192.0.2.7", "2001:db8::7", "", None, "localhost", "::ffff:192.0.2.7"])
def test_readers_elsewhere_may_load_where_the_settings_say_so(path: Path, place: Path, address: str | None) -> None:
    with pytest.raises(UploadError, match="on the computer that serves it only"):
        Uploads(path, Settings()).require_allowed(address)
    Uploads(path, Settings(upload=Upload(from_elsewhere=True))).require_allowed(address)
    closed = Uploads(path, Settings(upload=Upload(allowed=False, from_elsewhere=True)))
    with pytest.raises(UploadError, match="switched off"):
        closed.require_allowed(address)


def test_a_mapping_among_the_files_holds_for_the_others(path: Path, place: Path, uploads: Uploads) -> None:
    folder = MAPPINGS / "samples/maker_a"
    files = [(file.name, file.read_bytes()) for file in sorted(folder.iterdir())]
    token = uploads.receive(sent(*files, ("mapping.toml", (MAPPINGS / "maker_a.toml").read_bytes())))
    report = uploads.check(token)
    assert not any(file.refused for file in report.files)
    assert sum(file.stored + file.waiting for file in report.files) > 0
    with pytest.raises(InputUnusableError, match="Nothing can be used"):
        uploads.check(uploads.receive(sent(*files)))
    with pytest.raises(UsageError, match=r"mapping\.toml is not TOML"):
        uploads.check(uploads.receive(sent(*files, ("mapping.toml", b"= ="))))


def test_taking_back_is_foreseen_as_it_comes(path: Path, tmp_path: Path, uploads: Uploads) -> None:
    new = "rider_id | birth_year | sex\nR1 | 1981 | female\nR3 | 1985 | male\nR4 | 1985 | male\n"
    load([write_csv(tmp_path / "new", riders=new)], path, today=TODAY)
    again = "rider_id | birth_year | sex\nR4 | 1985 | male\nR5 | 1999 | male\n"
    load([write_csv(tmp_path / "again", riders=again)], path, today=TODAY)
    # R1 was there before, R4 came again with load 3, R3 is load 2's alone.
    (row,) = uploads.foresee(2)
    assert (row.table, row.versions, row.gone) == ("riders", 3, 1)
    assert uploads.take_back(2).versions == 3
    assert riders(path) == {"R1", "R2", "R4", "R5"}
    with pytest.raises(UsageError, match="no load 2 to undo"):
        foresee(path, 2)


@pytest.fixture
def client(path: Path) -> FlaskClient:
    app = create_app(Asker(path, Settings(upload=Upload(largest_mb=2))))
    return cast(FlaskClient, app.server.test_client())


def post(client: FlaskClient, content: bytes, name: str = "riders.csv", headers: Any = None, address: str = "127.0.0.1") -> Any:
    head = f'--b\r\nContent-Disposition: form-data; name="files"; filename="{name}"\r\n\r\n'.encode()
    return client.post(
        "/upload",
        data=head + content + b"\r\n--b--\r\n",
        content_type="multipart/form-data; boundary=b",
        headers={"X-Fitledger": "upload"} if headers is None else headers,
        environ_base={"REMOTE_ADDR": address},
    )


def test_files_are_sent_and_their_findings_fetched(client: FlaskClient) -> None:
    answer = post(client, BROKEN, name="../riders.csv")
    assert answer.status_code == 200
    token = answer.get_json()["token"]
    assert answer.headers["Cache-Control"] == "no-store"
    found = client.get(f"/upload/{token}/findings.csv")
    assert (found.status_code, found.mimetype, found.get_data()) == (200, "text/csv", b"")
    unknown = client.get("/upload/guess/findings.csv")
    assert unknown.status_code == 400
    assert "no longer kept" in unknown.get_data(as_text=True)


def test_more_than_a_question_may_hold_is_taken_as_files_and_more_than_files_may_hold_is_not(client: FlaskClient) -> None:
    assert post(client, b"x" * 1_900_000).status_code == 200
    for size in (2_100_000, 3_000_000):
        answer = post(client, b"x" * size)
        assert answer.status_code in (400, 413)
        assert "larger than the 2 MB" in answer.get_json()["words"]


@pytest.mark.parametrize(
    ("headers", "address", "words"),
    [
        ({}, "127.0.0.1", "taken from the Data page only"),
        (None, "192.0.2.7", "on the computer that serves it only"),
        ({"X-Fitledger": "upload", "X-Forwarded-For": "192.0.2.7"}, "127.0.0.1", "on the computer that serves it only"),
    ],
)
def test_who_may_not_send_files_is_told(client: FlaskClient, headers: Any, address: str, words: str) -> None:
    answer = post(client, GOOD, headers=headers, address=address)
    assert answer.status_code == 400
    assert words in answer.get_json()["words"]
    assert "token" not in answer.get_json()


def test_rejected_rows_come_in_their_tables_own_columns(client: FlaskClient, path: Path, tmp_path: Path) -> None:
    (tmp_path / "broken").mkdir()
    (tmp_path / "broken/riders.csv").write_bytes(BROKEN)
    load([tmp_path / "broken"], path)
    lines = client.get("/mend/riders.csv").get_data(as_text=True).splitlines()
    assert lines[0].startswith("rider_id,birth_year,") and "reject_no" in lines[0]
    assert lines[1].startswith("R4,1985,")
    unknown = client.get("/mend/people.csv")
    assert unknown.status_code == 400
    assert "'people' is no table" in unknown.get_data(as_text=True)


def test_a_step_of_the_page_asks_again_whether_it_may(path: Path) -> None:
    app = create_app(Asker(path, Settings(upload=Upload(allowed=False))))
    before = path.read_bytes()
    output = next(
        name for name, known in app.callback_map.items() if any(part["id"] == "data-sure" for part in known["inputs"])
    )
    known = app.callback_map[output]
    given = {"data-sure": 1, "data-asked": {"load": 1}, "view": ""}
    body = {
        "output": output,
        "outputs": [dict(zip(("id", "property"), part.split("."), strict=True)) for part in output.strip(".").split("...")],
        "inputs": [{**part, "value": given[part["id"]]} for part in known["inputs"]],
        "state": [{**part, "value": given[part["id"]]} for part in known["state"]],
        "changedPropIds": ["data-sure.n_clicks"],
    }
    answer = app.server.test_client().post("/_dash-update-component", json=body)
    assert answer.status_code == 200
    assert "switched off in the studio" in answer.get_data(as_text=True)
    assert path.read_bytes() == before

"""A lake is a warehouse: the same rows, ledger, findings and answers as one file, whatever is killed, missing or forgotten."""

import json
import os
import random
import re
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from datetime import date
from pathlib import Path

import pytest
from typer.testing import CliRunner

from dashboard.cli import app
from dashboard.questions.door.asking import Asker
from dashboard.questions.door.registry import QUESTIONS
from dashboard.questions.selection.selection import Selection
from etl.history import undo
from etl.keeping.forget import forget
from etl.load import check_files, load
from shared import extensions
from shared.errors import FitledgerError, UsageError, WarehouseError
from shared.lakes.attaching import data_files
from shared.lakes.places import located, place_of
from shared.settings import Settings
from shared.settings_running import LakePlace
from shared.warehouse import open_reading
from tests.conftest import EXPORTS
from tests.lake.conftest import Server

TODAY = date(2026, 9, 1)
RIDERS = "rider_id,birth_year\nR1,1980\nR2,1990\nR3,1975\n"
FITTERS = "fitter_id,role\nF1,fitter\n"


def _files(folder: Path, riders: str = RIDERS) -> Path:
    folder.mkdir(exist_ok=True)
    (folder / "riders.csv").write_text(riders, "utf-8")
    return folder


def _tables(path: Path) -> dict[str, list[str]]:
    """Every table of raw and core with its rows, without the times of the clock."""
    opened = open_reading(path)
    try:
        names = opened.rows(
            "SELECT schema_name, table_name FROM duckdb_tables() WHERE schema_name IN ('raw', 'core', 'mart') ORDER BY ALL"
        )
        return {
            f"{row['schema_name']}.{row['table_name']}": sorted(
                # Minus zero, as `-0.0` of an export, is the same number as zero; the two stores keep one or the other.
                str(
                    {
                        name: 0.0 if isinstance(value, float) and value == 0 else value
                        for name, value in one.items()
                        if name not in ("loaded_at", "undone_at")
                    }
                )
                for one in opened.rows(f'SELECT * FROM "{row["schema_name"]}"."{row["table_name"]}"')
            )
            for row in names
        }
    finally:
        opened.close()


def _answers(path: Path) -> dict[str, object]:
    asker, told = Asker(path, Settings(), today=lambda: TODAY), {}
    for name in QUESTIONS:
        try:
            # The time of the clock at which each was loaded is all that two loads differ in.
            told[name] = json.loads(asker.ask(name, Selection()).to_json(), object_hook=_without_clock)
        except FitledgerError as refusal:
            told[name] = str(refusal)
    return told


def _without_clock(cells: dict[str, object]) -> dict[str, object]:
    return {name: cell for name, cell in cells.items() if name != "loaded_at"}


def _lake(place: Path, name: str = "chain", postgres: str = "") -> Path:
    given = LakePlace(catalogue=f"postgres:{postgres}" if postgres else f"{name}.ducklake", data=f"{name}-data")
    return located(name, {name: given}, place / "fitledger.toml")


def test_every_table_and_answer_of_a_lake_is_that_of_the_file(demo_warehouse: Path, tmp_path: Path) -> None:
    lake, file = _lake(tmp_path), tmp_path / "one.duckdb"
    shutil.copyfile(demo_warehouse, file)
    load([EXPORTS], lake)
    _require_same_tables(lake, file)
    # More than 1,000 fits: of a second load with few rows, those are made anew and no others.
    second = _second(tmp_path / "second")
    for path in (lake, file):
        report = load([second], path, today=TODAY)
        assert [(one.replaced, one.stored) for one in report.files] == [(4, 0), (1, 1)]
    _require_same_tables(lake, file)
    of_lake, of_file = _answers(lake), _answers(file)
    assert len(of_file) == len(QUESTIONS)
    for name, answer in of_file.items():
        assert of_lake[name] == answer, name


def _require_same_tables(lake: Path, file: Path) -> None:
    of_lake, of_file = _tables(lake), _tables(file)
    assert of_lake.keys() == of_file.keys()
    for name, rows in of_file.items():
        assert of_lake[name] == rows, name


def _second(folder: Path) -> Path:
    """A few rows of the demo's exports corrected, and a new rider."""
    folder.mkdir()
    head, *rows = (EXPORTS / "riders.csv").read_text("utf-8").splitlines()
    place = head.split(",").index("birth_year")
    corrected = [_with_cell(rows[0], place, "1961"), _with_cell(rows[0], 0, "AAA-0001")]
    (folder / "riders.csv").write_text("\n".join([head, *corrected]) + "\n", "utf-8")
    head, *rows = (EXPORTS / "knee_captures-2024.csv").read_text("utf-8").splitlines()
    place = head.split(",").index("knee_tilt_deg")
    corrected = [_with_cell(row, place, "3.25") for row in rows[:4]]
    (folder / "knee_captures-2024.csv").write_text("\n".join([head, *corrected]) + "\n", "utf-8")
    return folder


def _with_cell(row: str, place: int, cell: str) -> str:
    cells = row.split(",")
    return ",".join([*cells[:place], cell, *cells[place + 1 :]])


# What the catalogue has no part in is tried on one kind.
of_a_file = pytest.mark.parametrize("lake", ["file"], indirect=True)


@pytest.fixture(params=["file", "postgres"])
def lake(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Path]:
    """An empty lake of either kind."""
    if request.param == "file":
        yield _lake(tmp_path)
        return
    server: Server = request.getfixturevalue("server")
    name = f"lake_{random.SystemRandom().getrandbits(48):x}"
    server.ask(f"CREATE DATABASE {name}")
    yield _lake(tmp_path, postgres=server.words(name))
    server.ask(f"DROP DATABASE {name} WITH (FORCE)")


def test_loads_corrections_and_undo_leave_what_they_leave_in_a_file(lake: Path, tmp_path: Path) -> None:
    file = tmp_path / "one.duckdb"
    corrected = RIDERS.replace("R1,1980", "R1,1981")
    for path in (lake, file):
        load([_files(tmp_path / "one")], path, today=TODAY)
        load([_files(tmp_path / "two", corrected)], path, today=TODAY)
    assert _tables(lake) == _tables(file)
    for path in (lake, file):
        undo(path, 2)
    assert _tables(lake) == _tables(file)
    assert "'birth_year': 1980" in str(_tables(lake)["core.riders"])


@of_a_file
def test_a_check_writes_nothing_to_the_lake(lake: Path, tmp_path: Path) -> None:
    load([_files(tmp_path / "one")], lake, today=TODAY)
    before = [lake.read_bytes(), data_files(place_of(lake))]
    report = check_files([_files(tmp_path / "two", RIDERS.replace("1990", "1991"))], lake, today=TODAY)
    assert [report.files[0].replaced, report.files[0].unchanged] == [1, 2]
    assert [lake.read_bytes(), data_files(place_of(lake))] == before


def test_a_reader_keeps_its_snapshot_through_a_load(lake: Path, tmp_path: Path) -> None:
    load([_files(tmp_path / "one")], lake, today=TODAY)
    reader = open_reading(lake)
    load([_files(tmp_path / "two", RIDERS + "R4,1960\n")], lake, today=TODAY)
    assert reader.value("SELECT count(*) FROM core.riders") == 3
    assert open_reading(lake).value("SELECT count(*) FROM core.riders") == 4
    reader.close()


def test_whoever_is_forgotten_is_in_no_file_of_the_lake(lake: Path, tmp_path: Path) -> None:
    name = "RIDER-QXZV-81"
    load([_files(tmp_path / "one", RIDERS + f"{name},1960\n")], lake, today=TODAY)
    load([_files(tmp_path / "two", RIDERS + f"{name},1961\n")], lake, today=TODAY)
    older = set(data_files(place_of(lake)))
    forget(lake, name, today=TODAY)
    files = [lake, *data_files(place_of(lake))]
    assert older.isdisjoint(files)
    assert not [file for file in files if name.encode() in file.read_bytes()]
    assert open_reading(lake).value("SELECT count(*) FROM core.riders") == 3


@of_a_file
def test_a_missing_data_file_is_told_by_its_name(lake: Path, tmp_path: Path) -> None:
    load([_files(tmp_path / "one")], lake, today=TODAY)
    (gone,) = [
        file for file in data_files(place_of(lake)) if file.parent.name == "riders" and file.parent.parent.name == "core"
    ]
    gone.unlink()
    with pytest.raises(WarehouseError, match=f"a data file of this lake is missing.*{gone.name}"):
        open_reading(lake).rows("SELECT * FROM core.riders")


@of_a_file
def test_what_is_missing_is_told_with_what_to_install(lake: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(extensions, "find_spec", lambda name: None)
    with pytest.raises(WarehouseError, match=re.escape("pip install 'fitledger[lake]'")):
        load([_files(tmp_path / "one")], lake, today=TODAY)
    assert not lake.exists()


def test_a_catalogue_that_is_gone_for_a_moment_is_a_sentence(server: Server, tmp_path: Path) -> None:
    server.ask("CREATE DATABASE gone")
    path = _lake(tmp_path, postgres=server.words("gone"))
    load([_files(tmp_path / "one")], path, today=TODAY)
    server.stop()
    try:
        with pytest.raises(WarehouseError, match=r"catalogue in PostgreSQL cannot be reached .*Nothing was changed"):
            load([_files(tmp_path / "two", RIDERS + "R4,1960\n")], path, today=TODAY)
    finally:
        server.start()
    load([tmp_path / "two"], path, today=TODAY)
    assert open_reading(path).value("SELECT count(*) FROM core.riders") == 4


def test_a_reader_of_least_rights_reads_and_writes_nothing(server: Server, tmp_path: Path) -> None:
    server.ask("CREATE DATABASE rights")
    path = _lake(tmp_path, postgres=server.words("rights"))
    load([_files(tmp_path / "one")], path, today=TODAY)
    server.ask("CREATE ROLE reader LOGIN")
    server.ask("GRANT SELECT ON ALL TABLES IN SCHEMA public TO reader", "rights")
    other = tmp_path / "other"
    other.mkdir()
    (other / "chain-data").symlink_to(tmp_path / "chain-data")
    reading = _lake(other, postgres=server.words("rights", "reader"))
    assert open_reading(reading).value("SELECT count(*) FROM core.riders") == 3
    with pytest.raises(WarehouseError, match="permission denied"):
        load([_files(tmp_path / "two", RIDERS + "R4,1960\n")], reading, today=TODAY)
    # Another machine sees what the first one writes.
    load([tmp_path / "two"], path, today=TODAY)
    time.sleep(1.1)
    assert open_reading(reading).value("SELECT count(*) FROM core.riders") == 4


KILLED = "import sys; from tests.lake.test_lake import again; again(sys.argv[1:])"


def again(words: list[str]) -> None:
    """A load in a program of its own, which is killed."""
    place, folder, postgres = Path(words[0]), Path(words[1]), words[2]
    load([folder], _lake(place, postgres=postgres), today=TODAY)


def test_a_killed_writer_leaves_all_or_nothing(lake: Path, tmp_path: Path) -> None:
    load([_files(tmp_path / "one")], lake, today=TODAY)
    chance, n = random.Random(22), int(os.environ.get("FITLEDGER_KILLS", "2"))
    for number in range(n):
        before = open_reading(lake).value("SELECT count(*) FROM core.riders")
        folder = _files(tmp_path / "more", RIDERS + "".join(f"K{one},1970\n" for one in range(number + 1)))
        words = [sys.executable, "-c", KILLED, str(tmp_path), str(folder), place_of(lake).postgres or ""]
        writer = subprocess.Popen(words, cwd=Path(__file__).parents[2])
        time.sleep(chance.uniform(0.5, 4))
        writer.send_signal(signal.SIGKILL)
        writer.wait()
        time.sleep(1.1)
        opened = open_reading(lake)
        assert opened.value("SELECT count(*) FROM core.riders") in (before, 3 + number + 1)
        assert opened.value("SELECT count(*) FROM mart.fits") == 0
        opened.close()
    load([tmp_path / "more"], lake, today=TODAY)
    assert open_reading(lake).value("SELECT count(*) FROM core.riders") == 3 + n
    assert not list(tmp_path.rglob("loading.*"))


def test_a_lake_is_named_in_the_settings(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "fitledger.toml").write_text('[lakes.chain]\ncatalogue = "chain.ducklake"\ndata = "files"\n', "utf-8")
    _files(tmp_path / "one")
    done = CliRunner().invoke(app, ["load", "one", "--warehouse", "lake:chain"])
    assert done.exit_code == 0, done.output
    assert "3 rows read = 3 stored" in done.output
    assert (tmp_path / "chain.ducklake").is_file()
    assert any((tmp_path / "files" / "core" / "riders").iterdir())
    done = CliRunner().invoke(app, ["load", "one", "--warehouse", "lake:other"])
    assert isinstance(done.exception, UsageError)
    assert "names no lake of this name; it names: chain" in str(done.exception)


def test_settings_that_name_lakes_are_remembered_by_like_others() -> None:
    named = {"chain": LakePlace(catalogue="chain.ducklake", data="files")}
    assert len({Settings(lakes=named), Settings(lakes=named), Settings()}) == 2


def test_no_password_stands_in_the_settings(tmp_path: Path) -> None:
    for words in ("host=db password=x", "postgresql://a:b@db/chain"):
        with pytest.raises(UsageError, match="found a password, expected none"):
            _lake(tmp_path, postgres=words)


def test_a_folder_of_another_lake_is_never_taken(tmp_path: Path) -> None:
    path = _lake(tmp_path)
    load([_files(tmp_path / "one")], path, today=TODAY)
    path.unlink()
    there = data_files(place_of(path))
    with pytest.raises(WarehouseError, match="holds the data files of a lake whose catalogue is not here"):
        load([tmp_path / "one"], path, today=TODAY)
    assert data_files(place_of(path)) == there

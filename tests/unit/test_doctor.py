"""The doctor: each thing that can be off is found, and says what to do; a well warehouse has nothing to do."""

import json
import os
import shutil
from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import SimpleNamespace

import pytest
from typer.testing import CliRunner

from dashboard.cli import app
from etl.keeping import doctor, running
from etl.keeping.backup import back_up
from etl.keeping.doctor import SENSIBLE, Check, examine, needed_bytes
from etl.keeping.forget import forget
from etl.keeping.restore import restore
from etl.load import load
from shared.files import held
from shared.memory import MB, Bound
from shared.settings import Settings
from shared.warehouse import open_loading
from shared.working import PLACE, working
from tests.spec.tables import write_csv

NOW = datetime(2026, 9, 1, 12, tzinfo=UTC)


@pytest.fixture
def path(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    folder = write_csv(
        tmp_path / "x",
        riders="rider_id\nR0001\nR0002",
        fitters="fitter_id | fitter_name\nF1 | Alder",
        fit_sessions="session_id | rider_id | fitter_id | studio_id | session_date | visit_kind\n"
        "S0001 | R0001 | F1 | quay | 2026-08-28 | first",
    )
    load([folder], tmp_path / "w.duckdb")
    with open_loading(tmp_path / "w.duckdb") as warehouse:
        warehouse.run("UPDATE raw.loads SET loaded_at = TIMESTAMP '2026-05-01 08:00:00'")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(doctor, "LOCK", tmp_path / "none.lock")
    return tmp_path / "w.duckdb"


def todo(path: Path, settings: Path | None = None) -> dict[str, Check]:
    return {check.name: check for check in examine(path, settings, now=NOW) if check.state == "do"}


def test_a_well_warehouse_has_nothing_to_do(path: Path) -> None:
    checks = examine(path, now=NOW)
    assert [check.name for check in checks if check.state == "do"] == []
    names = [check.name for check in checks]
    for name in ("warehouse", "catalogue", "last load", "rights", "lock", "backup", "disk", "settings", "libraries", "browser"):
        assert name in names
    assert all(check.todo for check in checks if check.state == "note")
    back_up(path, path.with_name("one.backup"))
    assert next(check for check in examine(path, now=NOW) if check.name == "backup").state == "fine"


def test_what_is_off_with_the_warehouse_is_found(path: Path) -> None:
    assert "there is no warehouse here" in todo(path.with_name("none.duckdb"))["warehouse"].words
    path.chmod(0o644)
    assert "chmod 600" in todo(path)["rights"].todo
    path.chmod(0o600)
    path.with_name("w.duckdb.wal").touch()
    assert str(path.with_name("w.duckdb.wal")) in todo(path)["leftovers"].words
    path.with_name("w.duckdb.wal").unlink()
    with held(path):
        told = examine(path, now=NOW)
    assert [check.words for check in told if check.name == "lock"] == ["a load is at work now."]
    with open_loading(path) as warehouse:
        warehouse.run("ALTER TABLE raw.riders DROP COLUMN mass_kg")
    assert "riders.mass_kg" in todo(path)["catalogue"].words
    with open_loading(path) as warehouse:
        warehouse.run("UPDATE raw.warehouse SET version = 2")
    assert "fitledger migrate" in todo(path)["warehouse"].todo


def test_what_killed_programs_left_is_told_wherever_it_lies_and_stays(path: Path, tmp_path: Path) -> None:
    (tmp_path / "disk").mkdir()
    back_up(path, tmp_path / "disk" / "one.backup")
    beside_the_copy, beside = tmp_path / "disk" / PLACE / "0123", path.parent / PLACE / "4567"
    earlier = [path.with_name("w.duckdb.loading"), tmp_path / "disk" / "one.backup.partial"]
    with working(path.parent) as at_work:
        for folder in (beside_the_copy, beside):
            folder.mkdir(parents=True)
            (folder / "copy.duckdb").write_bytes(b"x" * 300_000)
        for file in earlier:
            file.touch()
        told = [check for check in examine(path, now=NOW) if check.name == "working copies"]
    words = " ".join(check.words for check in told if check.state == "do")
    for left in (beside_the_copy, beside, *earlier):
        assert str(left) in words and left.exists()
    assert "(0.3 MB)" in words and str(at_work) not in words
    assert [check.words for check in told if check.state == "note"] == ["1 program is at work, on copies of their own."]
    CliRunner().invoke(app, ["history", "riders", "R0001", "--warehouse", str(path)])
    assert [left.exists() for left in (beside_the_copy, beside, *earlier)] == [False] * 4
    assert "working copies" not in todo(path)


def test_a_damaged_block_is_found_by_reading_all_and_told_as_damage(path: Path) -> None:
    # No block is named: whichever of them these bytes lie in, it is held to its checksum only when it is read.
    content = bytearray(path.read_bytes())
    at = content.rindex(b"2026-05-01") if b"2026-05-01" in content else len(content) - 200_000
    content[at] ^= 0xFF
    path.write_bytes(content)
    found = [check for check in examine(path, now=NOW) if check.state == "do"]
    assert [check.name for check in found] in (["blocks"], ["warehouse"])
    assert "this file is damaged" in found[0].words and "fitledger restore" in found[0].words


def test_the_newest_load_goes_with_its_own_time(path: Path, tmp_path: Path) -> None:
    load([write_csv(tmp_path / "y", riders="rider_id\nR0003")], path)
    with open_loading(path) as warehouse:
        warehouse.run("UPDATE raw.loads SET loaded_at = TIMESTAMP '2026-04-01 09:30:00' WHERE load_id = 2")
    told = next(check for check in examine(path, now=NOW) if check.name == "last load")
    assert told.words.startswith("load 2 on 2026-04-01 09:30 UTC;")
    # The clock was set back since: the earlier load says a later time, and it is the one that lies in the future.
    early = datetime(2026, 4, 15, tzinfo=UTC)
    assert "Load 1 says that it ran on 2026-05-01 08:00 UTC" in next(
        c.words for c in examine(path, now=early) if c.name == "clock"
    )


def test_a_clock_that_is_behind_the_data_is_found(path: Path) -> None:
    early = datetime(2026, 2, 1, tzinfo=UTC)
    assert "lies in the future" in next(check for check in examine(path, now=early) if check.name == "clock").words
    assert "clock" not in todo(path)


def test_a_lost_key_and_a_moved_backup_are_found(path: Path) -> None:
    made, _ = back_up(path, path.with_name("one.backup"))
    forget(path, "R0001")
    made.unlink()
    assert "no longer where they were made" in " ".join(check.words for check in examine(path, now=NOW))
    path.with_name("w.duckdb.key").unlink()
    assert "is missing" in todo(path)["forgotten riders"].words


def test_settings_that_do_not_parse_or_are_far_from_the_usual_are_found(path: Path) -> None:
    file = path.with_name("own.toml")
    file.write_text("[knee]\nneutral = 1\n", encoding="utf-8")
    assert "knee.neutral is no setting" in todo(path, file)["settings"].words
    file.write_text("[intervals]\nlevel = 0.6\n[minimum]\nrows_shown = 1\n", encoding="utf-8")
    told = next(check for check in examine(path, file, now=NOW) if check.name == "settings")
    assert told.state == "note"
    assert "intervals_level = 0.6 (usual: 0.8 to 0.99)" in told.words and "minimum_rows_shown = 1" in told.words


def test_the_defaults_are_within_the_usual_and_every_usual_range_is_of_a_setting() -> None:
    values = Settings().parameters()
    assert set(SENSIBLE) <= set(values)
    assert [name for name, (low, high) in SENSIBLE.items() if not low <= values[name] <= high] == []


def test_a_full_disk_and_other_libraries_are_found(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    size = path.stat().st_size
    made, _ = back_up(path, path.with_name("one.backup"))
    restore(made, path, replace=True)
    monkeypatch.setattr(shutil, "disk_usage", lambda _: SimpleNamespace(free=needed_bytes(size) - 1_000_000))
    found = todo(path)["disk"]
    assert f"the next load needs {needed_bytes(size) / 1e6:,.1f} MB" in found.words
    assert "Free 1.0 MB or more" in found.todo and "of warehouses that a restored one replaced" in found.todo
    monkeypatch.setattr(shutil, "disk_usage", lambda _: SimpleNamespace(free=needed_bytes(size)))
    assert "disk" not in todo(path)
    lock = path.with_name("requirements.lock")
    monkeypatch.setattr(doctor, "LOCK", lock)
    installed = doctor.version("duckdb")
    lock.write_text(f"duckdb=={installed} \\\n    --hash=sha256:00\nnot-there==1.0 \\\n", encoding="utf-8")
    assert "libraries" not in todo(path)
    lock.write_text("duckdb==0.1 ; python_version < '3' \\\nduckdb==0.2 \\\n", encoding="utf-8")
    assert f"duckdb {installed} (locked: 0.1 or 0.2)" in todo(path)["libraries"].words


def test_the_command_exits_with_3_where_something_is_to_do(path: Path) -> None:
    path.chmod(0o644)
    done = CliRunner().invoke(app, ["doctor", "--warehouse", str(path), "--json"])
    told = json.loads(done.stdout)
    assert (done.exit_code, told["is_well"]) == (3, False)
    assert {check["name"] for check in told["checks"] if check["state"] == "do"} == {"rights"}
    path.chmod(0o600)
    done = CliRunner().invoke(app, ["doctor", "--warehouse", str(path)])
    assert (done.exit_code, done.output.splitlines()[-1]) == (0, "All is well.")


def test_the_line_faults_memory_and_studios_are_told(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def told() -> dict[str, Check]:
        return {check.name: check for check in examine(path, now=NOW)}

    assert "line of loads" not in told() and "faults" not in told()

    def in_line(*minutes: float) -> Check:
        line = path.with_name("w.duckdb.line")
        line.mkdir()
        for number, ago in enumerate(minutes, start=1):
            (line / f"{number:010d}").touch()
            os.utime(line / f"{number:010d}", (0, NOW.timestamp() - 60 * ago))
        return told()["line of loads"]

    waits = in_line(59, 12)
    assert (waits.state, waits.words) == ("note", "2 programs in it, the first for 59 minutes.")
    hangs = in_line(61)
    assert (hangs.state, hangs.words) == (
        "do",
        "1 program in it, the first for 61 minutes.",
    ) and "nothing is lost" in hangs.todo
    days = [f"{(NOW - timedelta(days=n)).astimezone():%Y-%m-%d %H:%M:%S}" for n in (8, 2, 1)]
    Path("fitledger.log").write_text(
        f"{days[0]},001 ERROR Fault ab12\nTraceback of R0001\n{days[1]},001 ERROR Fault cd34\n"
        f"{days[2]},001 ERROR Fault in effects: no memory\nTraceback: R0001\n",
        encoding="utf-8",
    )
    assert told()["faults"].words == (
        f"2 faults in fitledger.log in the last 7 days; the last at {days[2]}: Fault in effects: no memory."
    )
    for left, state in ((2_001, "fine"), (1_999, "note")):
        monkeypatch.setattr(running, "memory_left", lambda left=left: Bound(left * MB, "which this machine has free"))
        assert told()["memory"].state == state
        assert f"2,000 MB ([serving] remembered_mb) of {left:,} MB, which this machine has free" in told()["memory"].words


def test_a_studio_without_new_fits_is_told_beside_the_others(path: Path) -> None:
    fits = (
        "session_id | rider_id | fitter_id | studio_id | session_date | visit_kind\nS2 | R0002 | F1 | hill | 2026-08-20 | first"
    )
    load([write_csv(path.with_name("y"), fit_sessions=fits)], path)
    check = next(check for check in examine(path, now=NOW) if check.name == "newest row")
    assert (check.state, check.todo) == ("note", "Ask there whether exports still come.")
    assert check.words == (
        "of 2026-08-28, 4 days old; after 7 days every page says so. Older, by the last fit: hill (12 days)."
    )

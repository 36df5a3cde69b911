"""The logbook goes along: in a backup and back, out of which a forgotten rider's fits are taken, and looked after by doctor."""

import sqlite3
import zipfile
from datetime import date
from pathlib import Path

import pytest

from etl.keeping.backup import back_up, read_manifest
from etl.keeping.doctor import examine
from etl.keeping.forget import forget
from etl.keeping.restore import restore
from etl.load import load
from shared.errors import InputUnusableError
from shared.logbook.drawing import MAY_OVERRULE, Drawing, Feet, differing
from shared.logbook.store import Logbook
from tests.spec.test_drawn import exports


@pytest.fixture
def warehouse(tmp_path: Path) -> Path:
    """Fits FIT-10 to FIT-15, one a rider, each drawn for once, and loaded."""
    path, feet = tmp_path / "w.duckdb", Feet("medium", "mild_varus", "none", 0, "any")
    opened = Drawing(path).open(
        ("insole_low", "shim_more"), feet, "tilt", stop_after=20, stop_on=date(2999, 1, 1), by="head", confirmed=MAY_OVERRULE
    )
    fits = [f"FIT-{number}" for number in range(10, 16)]
    for fit in fits:
        Drawing(path).draw(opened.comparison_id, fit, "left", capture_before=1, stratum="F1", by="F1")
    load([exports(tmp_path / "x", dict.fromkeys(fits, ("insole_low", -3.0)))], path, today=date(2026, 3, 3))
    return path


def drawn(path: Path) -> list[tuple[int, str, str]]:
    return [(one.draw_no, one.session_id, one.drawn) for one in Drawing(path).draws()]


def test_a_backup_brings_it_back_where_none_stands(warehouse: Path, tmp_path: Path) -> None:
    before = drawn(warehouse)
    backup, manifest = back_up(warehouse, tmp_path / "w.backup")
    assert (manifest.format_version, read_manifest(backup).logbook_sha256) == (3, manifest.logbook_sha256)
    assert restore(backup, tmp_path / "new.duckdb").logbook == "restored"
    assert drawn(tmp_path / "new.duckdb") == before
    assert Logbook(tmp_path / "new.duckdb").file.stat().st_mode & 0o777 == 0o600


def test_what_was_drawn_since_a_backup_stays_when_it_is_put_back(warehouse: Path, tmp_path: Path) -> None:
    backup, _ = back_up(warehouse, tmp_path / "w.backup")
    (comparison,) = Drawing(warehouse).comparisons()
    Drawing(warehouse).draw(comparison.comparison_id, "FIT-99", "left", capture_before=1, stratum="F1", by="F1")
    assert restore(backup, warehouse, replace=True).logbook == "kept"
    assert drawn(warehouse)[-1][1] == "FIT-99"
    # One that is damaged gives way, and is kept.
    file = Logbook(warehouse).file
    damaged = file.read_bytes()[:5000]
    file.write_bytes(damaged)
    assert restore(backup, warehouse, replace=True).logbook == "restored"
    assert len(drawn(warehouse)) == 6
    (kept,) = tmp_path.glob("w.duckdb.logbook.before-*")
    assert kept.read_bytes() == damaged


def test_a_backup_whose_logbook_was_altered_is_refused(warehouse: Path, tmp_path: Path) -> None:
    backup, _ = back_up(warehouse, tmp_path / "w.backup")
    altered = tmp_path / "altered.backup"
    with zipfile.ZipFile(backup) as source, zipfile.ZipFile(altered, "w") as target:
        for name in source.namelist():
            content = source.read(name)
            target.writestr(name, content[:-1] + b"x" if name.startswith("logbook") else content)
    with pytest.raises(InputUnusableError, match="its logbook has another size or digest"):
        restore(altered, tmp_path / "new.duckdb")
    assert not Logbook(tmp_path / "new.duckdb").file.exists()


def test_a_forgotten_riders_fit_goes_from_it_and_from_its_backups_and_the_draw_stays(warehouse: Path, tmp_path: Path) -> None:
    before = drawn(warehouse)
    backup, _ = back_up(warehouse, tmp_path / "w.backup")
    outside = tmp_path / "elsewhere.backup"
    outside.write_bytes(backup.read_bytes())
    file = Logbook(warehouse).file
    assert b"FIT-12" in file.read_bytes()
    done = forget(warehouse, "RFIT-12", today=date(2026, 3, 4))
    assert done.is_complete
    assert b"FIT-12" not in file.read_bytes()
    emptied = [(number, "" if fit == "FIT-12" else fit, arm) for number, fit, arm in before]
    assert drawn(warehouse) == emptied
    with zipfile.ZipFile(backup) as packed:
        assert b"FIT-12" not in packed.read("logbook.sqlite")
    # A copy that nobody knew of brings nobody back.
    file.unlink()
    assert restore(outside, warehouse, replace=True).logbook == "restored"
    assert drawn(warehouse) == emptied
    (comparison,) = Drawing(warehouse).comparisons()
    closed = Drawing(warehouse).close(comparison.comparison_id, why="other", by="head")
    assert differing(Drawing(warehouse).draws(), closed.seed, closed.commitment) == ()


def test_the_proof_finds_what_is_left_in_it(warehouse: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("etl.keeping.beside.CLEANERS", ())
    assert forget(warehouse, "RFIT-12", today=date(2026, 3, 4)).beside.named == [Logbook(warehouse).file]


def test_doctor_looks_at_it(warehouse: Path) -> None:
    def told() -> tuple[str, str]:
        (check,) = [one for one in examine(warehouse) if one.name == "logbook"]
        return check.state, check.words

    assert told() == (
        "fine",
        f"{Logbook(warehouse).file} is whole; version 2; 1 comparison, 1 open; 6 draws; 0 calls, tasks, notes and goals.",
    )
    file = Logbook(warehouse).file
    with sqlite3.connect(file) as book:
        book.execute("PRAGMA user_version = 9")
    book.close()
    assert told()[0] == "do" and "a newer fitledger wrote it" in told()[1]
    file.write_bytes(file.read_bytes()[:6000])
    assert told()[0] == "do" and "damaged" in told()[1]
    file.chmod(0o644)
    assert any(one.state == "do" and str(file) in one.words for one in examine(warehouse) if one.name == "rights")

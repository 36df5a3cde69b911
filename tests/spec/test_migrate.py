"""An older warehouse is brought up to date: what was loaded and rejected stays, and all that follows from it is made anew."""

import gzip
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from dashboard.cli import app
from etl.history import history, undo
from etl.keeping.migrate import Migrated, bring_up_to_date
from etl.load import check_files, load
from shared.catalogue import catalogue
from shared.errors import WarehouseError
from shared.warehouse import WAREHOUSE_VERSION, open_loading, open_reading

FIRST = Path(__file__).with_name("first_release")
TODAY = date(2026, 6, 1)


def first_release(folder: Path) -> Path:
    path = folder / "w.duckdb"
    path.write_bytes(gzip.decompress((FIRST / "version-1.gz").read_bytes()))
    return path


def held(path: Path) -> dict[str, list[dict[str, Any]]]:
    """All that a reader may see, but numbers and times that belong to one warehouse."""
    warehouse = open_reading(path)
    found = {f"raw {name}": warehouse.rows(f'SELECT * FROM raw."{name}" ORDER BY ALL') for name in catalogue()}
    found |= {f"core {name}": warehouse.rows(f'SELECT * FROM core."{name}" ORDER BY ALL') for name in catalogue()}
    for mart in ("fits", "captures", "knees"):
        found[f"mart {mart}"] = warehouse.rows(f"SELECT * FROM mart.{mart} ORDER BY ALL")
    found["rejects"] = warehouse.rows("SELECT * EXCLUDE (reject_no) FROM raw.rejects ORDER BY ALL")
    found["waiting"] = warehouse.rows("FROM raw.waiting ORDER BY ALL")
    found["warnings"] = warehouse.rows("FROM raw.warnings ORDER BY ALL")
    found["files"] = warehouse.rows('SELECT load_id, file, "table", read, stored, replaced, rejected, waiting FROM raw.files')
    warehouse.close()
    return found


def test_the_first_release_becomes_what_loading_its_exports_makes_today(tmp_path: Path) -> None:
    path = first_release(tmp_path)
    assert bring_up_to_date(path) == Migrated(1, WAREHOUSE_VERSION)
    assert bring_up_to_date(path) == Migrated(WAREHOUSE_VERSION, WAREHOUSE_VERSION)
    for name in ("x1", "x2"):
        load([FIRST / name], tmp_path / "today.duckdb", today=TODAY)
    migrated, made_today = held(path), held(tmp_path / "today.duckdb")
    # That release rejected a row for any faulty cell, of which today those are stored that may do without it.
    for name in catalogue():
        assert all(row in made_today[f"raw {name}"] for row in migrated[f"raw {name}"]), name
    assert len(migrated["rejects"]) == 4
    assert [row["birth_year"] for row in history(path, "riders", "R1")] == [1980, 1981]
    for name in ("x1", "x2"):
        load([FIRST / name], path, today=TODAY)
    again = held(path)
    for name, rows in made_today.items():
        if name.startswith(("core", "mart", "warnings")):
            assert again[name] == rows, name


def test_a_load_migrates_first_and_a_check_leaves_the_file_as_it_is(tmp_path: Path) -> None:
    path = first_release(tmp_path)
    before = path.read_bytes()
    foreseen = check_files([FIRST / "x2"], path, today=TODAY)
    assert path.read_bytes() == before
    report = load([FIRST / "x2"], path, today=TODAY)
    # The same row as the current one: nothing new, and the migration stays all the same.
    assert [(file.unchanged, file.replaced) for file in (*foreseen.files, *report.files)] == [(1, 0), (1, 0)]
    open_reading(path).close()


def test_a_broken_row_that_comes_again_is_the_reject_that_was_migrated(tmp_path: Path) -> None:
    path = first_release(tmp_path)
    bring_up_to_date(path)
    load([FIRST / "x1"], path, today=TODAY)
    warehouse = open_reading(path)
    assert warehouse.value("SELECT count(DISTINCT reject_no) FROM raw.findings") == 4
    assert warehouse.value("SELECT count(*) FROM raw.rejects") == 4
    warehouse.close()


def test_a_load_of_the_first_release_can_be_undone(tmp_path: Path) -> None:
    path = first_release(tmp_path)
    bring_up_to_date(path)
    undo(path, 2)
    assert [row["birth_year"] for row in history(path, "riders", "R1")] == [1980]


def test_a_reader_is_told_what_to_do_with_an_older_file(tmp_path: Path) -> None:
    path = first_release(tmp_path)
    with pytest.raises(
        WarehouseError, match=r"found warehouse version 1, expected \d+: an earlier fitledger.*fitledger migrate"
    ):
        open_reading(path)
    done = CliRunner().invoke(app, ["migrate", "--warehouse", str(path)])
    assert (done.exit_code, "from version 1 to" in done.output) == (0, True)
    again = CliRunner().invoke(app, ["migrate", "--warehouse", str(path)])
    assert (again.exit_code, "nothing was to do" in again.output) == (0, True)


def test_marts_of_any_older_version_are_built_anew(tmp_path: Path) -> None:
    path = tmp_path / "w.duckdb"
    load([FIRST / "x1"], path, today=TODAY)
    before = held(path)
    with open_loading(path) as warehouse:
        warehouse.run(
            "DROP TABLE mart.fits; CREATE TABLE mart.fits AS SELECT 1 AS old; CREATE TABLE mart.dropped AS SELECT 1 AS n"
        )
        warehouse.run(
            "DROP TABLE raw.forgotten; ALTER TABLE raw.riders DROP COLUMN riding; UPDATE raw.warehouse SET version = 2"
        )
    bring_up_to_date(path)
    after = held(path)
    assert all(row["riding"] is None for row in after["core riders"])
    # The column that came back is empty in the tables and marts that carry it, and nothing else differs.
    carrying = {"raw riders", "core riders", "mart fits", "mart captures", "mart knees"}
    assert {name for name in before if before[name] != after[name]} == carrying
    warehouse = open_reading(path)
    assert warehouse.value("SELECT count(*) FROM duckdb_tables() WHERE table_name = 'dropped'") == 0
    warehouse.close()


def test_a_migration_that_fails_leaves_the_file_as_it_was(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = first_release(tmp_path)
    before = path.read_bytes()
    monkeypatch.setattr("etl.keeping.migrate.rebuild", lambda *_: 1 / 0)
    with pytest.raises(ZeroDivisionError):
        bring_up_to_date(path)
    assert path.read_bytes() == before
    assert sorted(file.name for file in tmp_path.iterdir()) == ["w.duckdb", "w.duckdb.lock"]

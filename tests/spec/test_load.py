"""What a load does with each row, on tiny tables."""

import json
from datetime import date
from pathlib import Path

import pytest

from etl.load import check_files, load
from etl.report import FileReport, LoadReport
from shared.errors import EXIT_SOME_REJECTED, InputUnusableError, UsageError, WarehouseBusyError, WarehouseError
from shared.warehouse import WAREHOUSE_VERSION, Warehouse, open_loading, open_reading
from tests.spec.tables import write_csv

TODAY = date(2026, 11, 25)

RIDERS = """
rider_id | birth_year | sex
-------- | ---------- | ------
R1       | 1980       | Female
R2       | 1991       | male
"""
FITTERS = """
fitter_id | fitter_name
--------- | -----------
F1        | Alder
"""
SESSIONS = """
session_id | rider_id | fitter_id | studio_id | session_date | visit_kind
---------- | -------- | --------- | --------- | ------------ | ----------
S1         | R1       | F1        | quayside  | 2026-03-02   | first
S2         | R2       | F1        | quayside  | 2026-03-03   | first
"""
CAPTURES = """
session_id | capture_no | side  | knee_tilt_deg | knee_sway_mm
---------- | ---------- | ----- | ------------- | ------------
S1         | 1          | left  | 2.5           | 14
S1         | 1          | right | -1.0          | 12
S1         | 2          | left  | 1.5           | -
"""
FIRST = {"riders": RIDERS, "fitters": FITTERS, "fit_sessions": SESSIONS, "knee_captures": CAPTURES}


def counts(report: LoadReport, file: str) -> dict[str, int]:
    row = next(row for row in report.files if row.file == file)
    return {
        name: getattr(row, name) for name in ("stored", "replaced", "unchanged", "rejected", "waiting") if getattr(row, name)
    }


def adds_up(row: FileReport) -> bool:
    return row.read == row.stored + row.replaced + row.unchanged + row.rejected + row.waiting


def core(path: Path, table: str) -> list[dict[str, object]]:
    warehouse = open_reading(path)
    rows = warehouse.rows(f'SELECT * FROM core."{table}" ORDER BY ALL')
    warehouse.close()
    return rows


def test_first_load_stores_every_row(tmp_path: Path) -> None:
    report = load([write_csv(tmp_path / "x", **FIRST)], tmp_path / "w.duckdb", today=TODAY)
    assert report.load_id == 1
    assert report.exit_code == 0
    assert [row.stored for row in report.files] == [2, 1, 3, 2]  # fit_sessions, fitters, knee_captures, riders
    assert all(adds_up(row) for row in report.files)
    assert {row["sex"] for row in core(tmp_path / "w.duckdb", "riders")} == {"female", "male"}


def test_second_load_of_the_same_files_changes_nothing(tmp_path: Path) -> None:
    folder, path = write_csv(tmp_path / "x", **FIRST), tmp_path / "w.duckdb"
    load([folder], path, today=TODAY)
    before = path.read_bytes()
    report = load([folder], path, today=TODAY)
    assert report.load_id is None
    assert [counts(report, row.file) for row in report.files] == [
        {"unchanged": 2},
        {"unchanged": 1},
        {"unchanged": 3},
        {"unchanged": 2},
    ]
    assert path.read_bytes() == before


def test_a_correction_replaces_and_the_earlier_version_stays(tmp_path: Path) -> None:
    path = tmp_path / "w.duckdb"
    load([write_csv(tmp_path / "x", **FIRST)], path, today=TODAY)
    corrected = CAPTURES.replace("2.5 ", "2.75")
    report = load([write_csv(tmp_path / "y", knee_captures=corrected)], path, today=TODAY)
    assert counts(report, "knee_captures.csv") == {"replaced": 1, "unchanged": 2}
    warehouse = open_reading(path)
    versions = warehouse.rows(
        "SELECT load_id, superseded_by, knee_tilt_deg FROM raw.knee_captures "
        "WHERE session_id = 'S1' AND capture_no = 1 AND side = 'left' ORDER BY load_id"
    )
    assert versions == [
        {"load_id": 1, "superseded_by": 2, "knee_tilt_deg": 2.5},
        {"load_id": 2, "superseded_by": None, "knee_tilt_deg": 2.75},
    ]
    assert warehouse.value("SELECT count(*) FROM core.knee_captures") == 3
    warehouse.close()


def test_captures_wait_for_their_session_and_join_when_it_comes(tmp_path: Path) -> None:
    path = tmp_path / "w.duckdb"
    report = load([write_csv(tmp_path / "x", knee_captures=CAPTURES)], path, today=TODAY)
    assert counts(report, "knee_captures.csv") == {"waiting": 3}
    assert report.files[0].words.endswith("3 rows wait for their session")
    again = load([tmp_path / "x"], path, today=TODAY)
    assert counts(again, "knee_captures.csv") == {"waiting": 3}
    load([write_csv(tmp_path / "y", riders=RIDERS, fitters=FITTERS, fit_sessions=SESSIONS)], path, today=TODAY)
    assert len(core(path, "knee_captures")) == 3
    warehouse = open_reading(path)
    assert warehouse.value("SELECT count(*) FROM raw.waiting") == 0
    warehouse.close()


def test_an_orphan_is_rejected_and_taken_in_when_its_rider_comes(tmp_path: Path) -> None:
    path = tmp_path / "w.duckdb"
    only_r1 = "\n".join(line for line in RIDERS.splitlines() if not line.startswith("R2"))
    report = load([write_csv(tmp_path / "x", riders=only_r1, fitters=FITTERS, fit_sessions=SESSIONS)], path, today=TODAY)
    assert counts(report, "fit_sessions.csv") == {"stored": 1, "rejected": 1}
    assert [(f.rule, f.column, f.value, f.line) for f in report.findings] == [("orphan", "rider_id", "R2", 3)]
    load([write_csv(tmp_path / "y", riders=RIDERS)], path, today=TODAY)
    assert len(core(path, "fit_sessions")) == 2
    warehouse = open_reading(path)
    assert warehouse.value("SELECT count(*) FROM raw.rejects") == 0
    warehouse.close()


def test_an_orphan_whose_rider_comes_may_still_miss_its_fitter(tmp_path: Path) -> None:
    path = tmp_path / "w.duckdb"
    load([write_csv(tmp_path / "x", fit_sessions=SESSIONS)], path, today=TODAY)
    load([write_csv(tmp_path / "y", riders=RIDERS)], path, today=TODAY)
    warehouse = open_reading(path)
    told = warehouse.rows('SELECT load_id, file, line, "column", value FROM raw.rejects ORDER BY line')
    warehouse.close()
    assert told == [
        {"load_id": 1, "file": "fit_sessions.csv", "line": 2, "column": "fitter_id", "value": "F1"},
        {"load_id": 1, "file": "fit_sessions.csv", "line": 3, "column": "fitter_id", "value": "F1"},
    ]
    load([write_csv(tmp_path / "z", fitters=FITTERS)], path, today=TODAY)
    assert len(core(path, "fit_sessions")) == 2


def test_the_same_key_twice_with_other_content_rejects_all_its_rows(tmp_path: Path) -> None:
    twice = RIDERS + "R2 | 1992 | male\nR1 | 1980 | female\n"
    report = load([write_csv(tmp_path / "x", riders=twice)], tmp_path / "w.duckdb", today=TODAY)
    assert counts(report, "riders.csv") == {"stored": 1, "unchanged": 1, "rejected": 2}
    assert [(f.rule, f.line) for f in report.findings] == [("duplicate_key", 3), ("duplicate_key", 4)]


def test_a_missing_column_refuses_that_file_and_no_other(tmp_path: Path) -> None:
    folder = write_csv(tmp_path / "x", **{**FIRST, "riders": "rider | birth_year\nR1 | 1980\n"})
    report = load([folder], tmp_path / "w.duckdb", today=TODAY)
    assert [row.refused for row in report.files] == [False, False, False, True]
    assert report.files[3].words.startswith(
        "riders.csv: the required column rider_id of table riders is missing. Found instead: rider (rider may be rider_id)."
    )
    assert report.exit_code == EXIT_SOME_REJECTED


def test_a_rejected_row_is_kept_whole_with_its_place(tmp_path: Path) -> None:
    folder = write_csv(tmp_path / "x", **FIRST)
    notes = (
        "session_id,rider_id,fitter_id,studio_id,session_date,visit_kind,notes\n"
        'S1,R1,F1,Q,2026-03-02,first,"two\nlines, ""quoted"""\nS2,R2,F1,Q,2062-03-02,first,late\n'
    )
    (folder / "fit_sessions.csv").write_text(notes, encoding="utf-8")
    report = load([folder], tmp_path / "w.duckdb", today=TODAY)
    finding = report.findings[0]
    assert (finding.file, finding.line, finding.column, finding.rule) == ("fit_sessions.csv", 4, "session_date", "date")
    assert (
        finding.words
        == "session_date: found 2062-03-02, expected a date from 1990-01-01 to 2026-11-25. Correct the date and load again."
    )
    warehouse = open_reading(tmp_path / "w.duckdb")
    kept = warehouse.value("SELECT received FROM raw.rejects")
    warehouse.close()
    assert list(json.loads(kept).values()) == ["S2", "R2", "F1", "Q", "2062-03-02", "first", "late"]


def test_ragged_rows_are_told_with_their_line(tmp_path: Path) -> None:
    folder = tmp_path / "x"
    folder.mkdir()
    (folder / "riders.csv").write_text(
        "rider_id,birth_year,sex\nR1,1980\n\nR2,1990,male,extra\nR3,1991,male\nR4,1800,male\n", encoding="utf-8"
    )
    report = load([folder], tmp_path / "w.duckdb", today=TODAY)
    assert counts(report, "riders.csv") == {"stored": 2, "rejected": 2}
    assert [(f.line, f.rule, f.is_cell) for f in report.findings] == [
        (2, "cells", False), (4, "cells", False), (6, "range", True)
    ]  # fmt: skip
    assert report.findings[0].words.startswith("row: found 2 cells, expected 3")


@pytest.mark.parametrize(
    ("cell", "rule"),
    [
        ("30.01", "range"), ("-30.01", "range"), ("n/a", "number"), ("NaN", "number"), ("inf", "number"),
        ("1e999", "number"), ("٣", "number"), ("1_0", "number"), ("2,5", "number"),
    ],
)  # fmt: skip
def test_a_tilt_that_breaks_its_limits(tmp_path: Path, cell: str, rule: str) -> None:
    (tmp_path / "knee_captures.csv").write_text(
        f'session_id,capture_no,side,knee_tilt_deg\nS1,1,left,"{cell}"\nS1,1,right,30\n', encoding="utf-8"
    )
    report = load([tmp_path / "knee_captures.csv"], tmp_path / "w.duckdb", today=TODAY)
    assert [(f.rule, f.column, f.value, f.line) for f in report.findings] == [(rule, "knee_tilt_deg", cell, 2)]
    assert counts(report, "knee_captures.csv") == {"rejected": 1, "waiting": 1}


@pytest.mark.parametrize(
    ("encoding", "separator", "detected"),
    [
        ("utf-8", ",", "encoding: utf-8, separator ','"),
        ("utf-8-sig", ";", "encoding: utf-8, separator ';'"),
        ("utf-16", "\t", "encoding: utf-16, separator 'tab'"),
        ("cp1252", ";", "encoding: windows-1252, separator ';'"),
    ],
)
def test_encodings_and_separators_are_detected_and_told(tmp_path: Path, encoding: str, separator: str, detected: str) -> None:
    text = "fitter_id,fitter_name\r\nF1,Größe Möwe\r\n".replace(",", separator)
    (tmp_path / "fitters.csv").write_bytes(text.encode(encoding))
    report = load([tmp_path / "fitters.csv"], tmp_path / "w.duckdb", today=TODAY)
    assert report.files[0].words == detected
    assert core(tmp_path / "w.duckdb", "fitters")[0]["fitter_name"] == "Größe Möwe"


def test_check_tells_the_same_and_writes_nothing(tmp_path: Path) -> None:
    folder, path = write_csv(tmp_path / "x", **FIRST), tmp_path / "w.duckdb"
    checked = check_files([folder], path, today=TODAY)
    assert not path.exists()
    loaded = load([folder], path, today=TODAY)
    assert (checked.files, checked.findings) == (loaded.files, loaded.findings)
    assert checked.load_id is None


def test_nothing_usable_leaves_the_warehouse_as_it_was(tmp_path: Path) -> None:
    path = tmp_path / "w.duckdb"
    load([write_csv(tmp_path / "x", **FIRST)], path, today=TODAY)
    before = path.read_bytes()
    (tmp_path / "empty").mkdir()
    for folder in (tmp_path / "empty", write_csv(tmp_path / "bad", riders="name\nAnn\n")):
        with pytest.raises(InputUnusableError) as refused:
            load([folder], path, today=TODAY)
        assert refused.value.exit_code == 4
    with pytest.raises(UsageError):
        load([tmp_path / "nowhere"], path, today=TODAY)
    assert path.read_bytes() == before
    assert not list(tmp_path.glob("*.loading*"))


def test_a_fault_in_the_middle_leaves_the_warehouse_as_it_was(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "w.duckdb"
    load([write_csv(tmp_path / "x", **FIRST)], path, today=TODAY)
    before = path.read_bytes()

    def broken(warehouse: Warehouse, part: object) -> None:
        raise RuntimeError("broken on purpose")

    monkeypatch.setattr("etl.mart.build", broken)
    with pytest.raises(RuntimeError, match="on purpose"):
        load([write_csv(tmp_path / "y", riders=RIDERS + "R3 | 1990 | male\n")], path, today=TODAY)
    assert path.read_bytes() == before
    assert not list(tmp_path.glob("*.loading*"))


def test_a_warehouse_that_cannot_be_used_says_so(tmp_path: Path) -> None:
    with pytest.raises(WarehouseError, match="there is no warehouse here"):
        open_reading(tmp_path / "none.duckdb")
    text = tmp_path / "text.duckdb"
    text.write_text("no warehouse", encoding="utf-8")
    with pytest.raises(WarehouseError, match="is no fitledger warehouse"):
        open_reading(text)
    with pytest.raises(WarehouseError, match="is no fitledger warehouse"):
        load([write_csv(tmp_path / "x", **FIRST)], text, today=TODAY)
    assert text.read_text(encoding="utf-8") == "no warehouse"
    path = tmp_path / "w.duckdb"
    load([tmp_path / "x"], path, today=TODAY)
    with open_loading(path) as warehouse:
        warehouse.run("UPDATE raw.warehouse SET version = 99")
    with pytest.raises(WarehouseError, match=f"found warehouse version 99, expected {WAREHOUSE_VERSION} or older"):
        open_reading(path)


def test_a_second_load_at_the_same_time_is_told_to_wait(tmp_path: Path) -> None:
    path = tmp_path / "w.duckdb"
    folder = write_csv(tmp_path / "x", **FIRST)
    with open_loading(path), pytest.raises(WarehouseBusyError, match="another load is writing"):
        load([folder], path, today=TODAY, wait_seconds=0)


def test_a_reader_keeps_its_snapshot_while_a_load_replaces_the_file(tmp_path: Path) -> None:
    path = tmp_path / "w.duckdb"
    load([write_csv(tmp_path / "x", **FIRST)], path, today=TODAY)
    reader = open_reading(path)
    load([write_csv(tmp_path / "y", riders=RIDERS + "R3 | 1990 | male\n")], path, today=TODAY)
    assert reader.value("SELECT count(*) FROM core.riders") == 2
    later = open_reading(path)
    assert later.value("SELECT count(*) FROM core.riders") == 3
    reader.close()
    later.close()

"""What became of a row, and taking a load back, on tiny tables and through the command."""

from pathlib import Path

import pytest
from typer.testing import CliRunner

from dashboard.cli import app
from etl.history import history, undo
from etl.load import load
from shared.errors import UsageError
from shared.warehouse import open_reading
from tests.spec.tables import write_csv
from tests.spec.test_load import CAPTURES, FIRST, FITTERS, RIDERS, SESSIONS, TODAY, core

KEY = "S1,1,left"


def corrected(path: Path, folder: Path) -> None:
    load([write_csv(folder / "x", **FIRST)], path, today=TODAY)
    load([write_csv(folder / "y", knee_captures=CAPTURES.replace("2.5 ", "2.75"))], path, today=TODAY)


def test_every_version_of_a_row_with_its_place(tmp_path: Path) -> None:
    path = tmp_path / "w.duckdb"
    corrected(path, tmp_path)
    versions = history(path, "knee_captures", KEY)
    assert [(row["load_id"], row["file"], row["line"], row["superseded_by"], row["knee_tilt_deg"]) for row in versions] == [
        (1, "knee_captures.csv", 2, 2, 2.5),
        (2, "knee_captures.csv", 2, None, 2.75),
    ]


def test_lines_count_quoted_line_breaks_blank_and_ragged_lines(tmp_path: Path) -> None:
    path = tmp_path / "w.duckdb"
    folder = write_csv(tmp_path / "x", **FIRST)
    rows = [
        "session_id,rider_id,fitter_id,studio_id,session_date,visit_kind,notes",
        'S1,R1,F1,Q,2026-03-02,first,"two\nlines"',
        "",
        "S2,R2",
        "S3,R2,F1,Q,2026-03-02,first,plain",
        'S4,R2,F1,Q,2026-03-02,first,"three\n\nlines"',
        "S5,R2,F1,Q,2026-03-02,first,",
    ]
    (folder / "fit_sessions.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    load([folder], path, today=TODAY)
    # Header 1; S1 on 2 and 3; blank 4; S2 on 5; S3 on 6; S4 on 7 to 9.
    assert [history(path, "fit_sessions", f"S{n}")[0]["line"] for n in (1, 3, 4, 5)] == [2, 6, 7, 10]


def test_a_key_that_names_nothing_is_told(tmp_path: Path) -> None:
    path = tmp_path / "w.duckdb"
    corrected(path, tmp_path)
    for table, key, words in (
        ("captures", KEY, "'captures' is no table"),
        ("knee_captures", "S1,1", "found 2 parts, expected the key of knee_captures: session_id, capture_no, side"),
        ("knee_captures", "S1,9,left", "no row of knee_captures has this key"),
    ):
        with pytest.raises(UsageError, match=words):
            history(path, table, key)


def test_undoing_a_correction_brings_the_earlier_version_back(tmp_path: Path) -> None:
    path = tmp_path / "w.duckdb"
    corrected(path, tmp_path)
    undone = undo(path, 2)
    assert (undone.files, undone.versions) == (1, 1)
    assert [(row["load_id"], row["superseded_by"]) for row in history(path, "knee_captures", KEY)] == [(1, None)]
    assert core(path, "knee_captures")[0]["knee_tilt_deg"] == 2.5
    with pytest.raises(UsageError, match=r"no load 2 to undo\. Loads that stand: 1\. Nothing was changed"):
        undo(path, 2)


def test_a_load_that_brought_the_same_rows_again_keeps_them(tmp_path: Path) -> None:
    path = tmp_path / "w.duckdb"
    load([write_csv(tmp_path / "x", **FIRST)], path, today=TODAY)
    load([write_csv(tmp_path / "y", **{**FIRST, "riders": RIDERS + "R3 | 1990 | male\n"})], path, today=TODAY)
    undo(path, 1)
    assert len(core(path, "riders")) == 3
    assert len(core(path, "knee_captures")) == 3
    assert [row["load_id"] for row in history(path, "knee_captures", KEY)] == [2]


def test_undoing_the_riders_makes_orphans_of_their_sessions_and_back(tmp_path: Path) -> None:
    path = tmp_path / "w.duckdb"
    load([write_csv(tmp_path / "x", riders=RIDERS, fitters=FITTERS)], path, today=TODAY)
    load([write_csv(tmp_path / "y", fit_sessions=SESSIONS, knee_captures=CAPTURES)], path, today=TODAY)
    load([write_csv(tmp_path / "z", fitters=FITTERS + "F2 | Birch\n")], path, today=TODAY)
    undo(path, 1)
    warehouse = open_reading(path)
    found = warehouse.rows('SELECT file, line, "column", rule, value, words FROM raw.rejects ORDER BY line')
    assert [(row["file"], row["line"], row["column"], row["rule"], row["value"]) for row in found] == [
        ("fit_sessions.csv", 2, "rider_id", "orphan", "R1"),
        ("fit_sessions.csv", 3, "rider_id", "orphan", "R2"),
    ]
    assert found[0]["words"] == (
        "rider_id: found R1, expected the rider_id of a row in riders. Load that row, and this one is taken in by itself; "
        "or correct the id."
    )
    assert warehouse.value("SELECT sum(n) FROM raw.waiting") == 3
    warehouse.close()
    load([tmp_path / "x"], path, today=TODAY)
    assert len(core(path, "knee_captures")) == 3
    warehouse = open_reading(path)
    assert warehouse.value("SELECT count(*) FROM raw.rejects") == 0
    warehouse.close()


def test_a_mended_row_is_a_reject_again_when_the_mending_is_undone(tmp_path: Path) -> None:
    path = tmp_path / "w.duckdb"
    load([write_csv(tmp_path / "x", **{**FIRST, "riders": RIDERS + "R3 | 1800 | male\n"})], path, today=TODAY)
    load([write_csv(tmp_path / "y", riders="rider_id | birth_year | sex\nR3 | 1980 | male\n")], path, today=TODAY)
    standing = "SELECT count(*) FROM raw.rejects"
    warehouse = open_reading(path)
    assert warehouse.value(standing) == 0
    warehouse.close()
    undo(path, 2)
    warehouse = open_reading(path)
    assert warehouse.value(standing) == 1
    warehouse.close()


def test_no_number_is_given_twice(tmp_path: Path) -> None:
    path = tmp_path / "w.duckdb"
    corrected(path, tmp_path)
    undo(path, 2)
    assert load([tmp_path / "y"], path, today=TODAY).load_id == 3


def test_the_command_prints_versions_takes_back_and_writes_rejects(tmp_path: Path) -> None:
    path = tmp_path / "w.duckdb"
    corrected(path, tmp_path)
    load([write_csv(tmp_path / "z", riders=RIDERS + "R3 | 1800 | male\n")], path, today=TODAY)
    runner = CliRunner()
    told = runner.invoke(app, ["history", "knee_captures", KEY, "--warehouse", str(path)])
    lines = told.output.splitlines()
    assert lines[0].startswith("load 1, 20") and lines[0].endswith("Z, knee_captures.csv, line 2 (replaced by load 2)")
    assert lines[1] == "  session_id S1, capture_no 1, side left, knee_tilt_deg 2.5, knee_sway_mm 14.0"
    assert lines[2].endswith("(current)")
    told = runner.invoke(app, ["undo", "2", "--warehouse", str(path)])
    assert told.output == "Load 2 is undone: 1 file, 1 version of a row taken back.\n"
    told = runner.invoke(app, ["rejects", "--table", "riders", "--warehouse", str(path)])
    assert told.output.splitlines()[0] == "rider_id,birth_year,sex,height_cm,mass_kg,riding,reject_no,rule,column,words"
    told = runner.invoke(app, ["rejects", "--out", str(tmp_path / "mend"), "--warehouse", str(path)])
    assert [file.name for file in (tmp_path / "mend").iterdir()] == ["riders-rejects.csv"]
    assert told.output.endswith("riders-rejects.csv: 1 row. Mend the cells and load the file.\n")

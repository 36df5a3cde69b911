"""What `data` tells of loads, of what waits and was left out, and of empty exams, on tiny tables."""

from pathlib import Path
from typing import Any

from dashboard.printing import print_words
from dashboard.questions.door.asking import Asker
from dashboard.questions.selection.selection import parse_selection
from etl.history import undo
from etl.load import load
from shared.settings import Minimum, Settings
from tests.spec.tables import write_csv
from tests.spec.test_load import FIRST, TODAY

# One capture of a session that is not there, twice; one tilt and one sway out of reach in one row, one tilt in another.
LATER = """
session_id | capture_no | side  | knee_tilt_deg | knee_sway_mm
S9         | 1          | left  | 2.5           | 14
S9         | 1          | right | 2.5           | 14
S8         | 1          | left  | 2.5           | 14
S2         | 1          | left  | 99            | 900
S2         | 1          | right | 99            | 12
"""
EXAMS = """
session_id | side  | arch_height | forefoot_angle_deg
S1         | left  | low         | -
S1         | right | -           | 4
"""


def asked(path: Path, **words: str) -> Any:
    return Asker(path, Settings(minimum=Minimum(rows_shown=1))).ask("data", parse_selection(words))


def test_waiting_rows_tell_what_they_wait_for_and_each_load_what_it_left_out(tmp_path: Path) -> None:
    path = tmp_path / "w.duckdb"
    load([write_csv(tmp_path / "first", **FIRST)], path, today=TODAY)
    load([write_csv(tmp_path / "later", knee_captures__2=LATER)], path, today=TODAY)
    answer = asked(path)
    assert [(row.load_id, row.file, row.table, row.column, row.value, row.n) for row in answer.waiting] == [
        (2, "knee_captures-2.csv", "knee_captures", "session_id", "S9", 2),
        (2, "knee_captures-2.csv", "knee_captures", "session_id", "S8", 1),
    ]
    # Both faults of one row are of one rule, and the row counts once; of the other row a cell alone was left out.
    assert [(row.load_id, row.state, row.rule, row.n) for row in answer.left_out] == [
        (2, "rejected", "range", 1),
        (2, "waiting", "waiting", 3),
    ]
    assert sum(row.n for row in answer.left_out) == answer.loads[1].rejected + answer.loads[1].waiting
    assert [(row.rejected, row.cells) for row in answer.tables if row.table == "knee_captures"] == [(1, 1)]
    assert answer.headline.endswith("each kept with its reason. 1 faulty cell kept as not recorded, in rows that are in.")


def test_reasons_and_rejects_tell_a_cell_left_out_from_a_rejected_row(tmp_path: Path, capsys: Any) -> None:
    """By hand: one row with two faulty cells and nothing else is rejected for each; one row is in without its tilt."""
    path = tmp_path / "w.duckdb"
    load([write_csv(tmp_path / "first", **FIRST)], path, today=TODAY)
    report = load([write_csv(tmp_path / "later", knee_captures__2=LATER)], path, today=TODAY)
    answer = asked(path)
    assert [(row.state, row.rule, row.n) for row in answer.reasons] == [
        ("cell left out", "range", 1),
        ("rejected", "range", 1),
        ("waiting", "waiting", 3),
    ]
    by_state = {row.state: row.n for row in answer.reasons}
    captures = next(row for row in answer.tables if row.table == "knee_captures")
    assert (captures.rejected, captures.cells) == (by_state["rejected"], by_state["cell left out"])
    assert (report.files[0].rejected, report.files[0].cells) == (captures.rejected, captures.cells)
    assert [(row.line, row.column, row.is_cell) for row in answer.rejects] == [
        (5, "knee_tilt_deg", False),
        (5, "knee_sway_mm", False),
        (6, "knee_tilt_deg", True),
    ]
    assert answer.rejects[2].words.endswith("The cell is kept as not recorded, and the rest of its row is stored.")
    print_words(report)
    printed = capsys.readouterr().out
    assert "range, knee_tilt_deg: 1 row\n" in printed and "range, knee_tilt_deg: 1 cell left out\n" in printed
    # Without its row's key another load may correct it: then nothing of it is left out.
    mended = "session_id | capture_no | side | knee_tilt_deg | knee_sway_mm\nS2 | 1 | right | 2 | 12\n"
    load([write_csv(tmp_path / "mended", knee_captures__3=mended)], path, today=TODAY)
    assert [row.state for row in asked(path).reasons] == ["rejected", "waiting"]


def test_a_load_that_was_taken_back_is_told_without_its_counts(tmp_path: Path) -> None:
    path = tmp_path / "w.duckdb"
    load([write_csv(tmp_path / "first", **FIRST)], path, today=TODAY)
    load([write_csv(tmp_path / "later", knee_captures__2=LATER)], path, today=TODAY)
    undo(path, 2)
    answer = asked(path)
    first, second = answer.loads
    assert (first.files, first.read, first.undone_at) == (4, 2 + 1 + 2 + 3, None)
    assert first.names.split("\n") == ["fit_sessions.csv", "fitters.csv", "knee_captures.csv", "riders.csv"]
    assert (second.load_id, second.files, second.read, second.names) == (2, 0, 0, "")
    assert second.undone_at.endswith("Z")
    assert answer.waiting == answer.left_out == ()


def test_empty_columns_of_the_exam_are_counted_over_both_feet_of_the_selected_fits(tmp_path: Path) -> None:
    path = tmp_path / "w.duckdb"
    load([write_csv(tmp_path / "x", **FIRST, foot_exams=EXAMS)], path, today=TODAY)
    found = {row.column: (row.n, row.total, row.share) for row in asked(path).exams}
    # Two fits have four feet; S2 was not examined at all.
    assert found["arch_height"] == (1 + 2, 4, 3 / 4)
    assert found["heel_posture"] == (4, 4, 1)
    narrowed = {row.column: (row.n, row.total, row.share) for row in asked(path, to="2026-03-02").exams}
    assert narrowed["forefoot_angle_deg"] == (1, 2, 1 / 2)
    assert {row.check: (row.n, row.total) for row in asked(path).quality}["exam_missing"] == (1, 2)
    few: Any = Asker(path, Settings()).ask("data", parse_selection({}))
    assert [row.share for row in few.exams] == [None] * len(few.exams)

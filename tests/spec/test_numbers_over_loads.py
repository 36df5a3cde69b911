"""Captures that are numbered by the order of their times, over loads that follow one another; on tiny exports."""

from pathlib import Path

from etl.history import undo
from etl.load import load
from etl.report import LoadReport
from tests.spec.test_mapping_other_rows import BY_TIME, CLIPS, PARENTS, TODAY, captures, write


def test_a_later_load_goes_on_with_the_numbers_of_a_visit(tmp_path: Path) -> None:
    """On the code before, each load numbered from 1: the second put the first captures of the visit away without a word."""
    head, *lines = CLIPS.strip().splitlines()
    mapping, path = BY_TIME.replace("NUMBERED", "session"), tmp_path / "w.duckdb"
    early, late = [line for line in lines if "9:0" in line], [line for line in lines if "9:0" not in line]

    def brought(name: str, of: list[str]) -> LoadReport:
        return load([write(tmp_path / name, mapping, clips="\n".join([head, *of]))], path, today=TODAY)

    load([write(tmp_path / "parents", **PARENTS)], path, today=TODAY)
    assert sum(file.stored for file in brought("early", early).files) == 3
    later = brought("late", late)
    assert [(file.stored, file.replaced) for file in later.files] == [(2, 0)]
    whole = [(1, "left", 5.0), (2, "right", -5.0), (3, "left", 3.0), (3, "right", -3.0)]
    assert captures(path) == [*(("S1", *row) for row in whole), ("S2", 1, "left", 1.0)]
    # All of it again, with one capture more at its end: what is there stays, and the last goes on from it.
    again = brought("all", [*lines, "S1 | 01.03.2026 | 11:00 | left | 7"])
    assert [(file.stored, file.replaced, file.unchanged) for file in again.files] == [(1, 0, 5)]
    assert ("S1", 4, "left", 7.0) in captures(path)


def test_a_capture_before_loaded_ones_is_rejected_with_what_to_do(tmp_path: Path) -> None:
    head, *lines = CLIPS.strip().splitlines()
    mapping, path = BY_TIME.replace("NUMBERED", "session"), tmp_path / "w.duckdb"
    load([write(tmp_path / "parents", **PARENTS)], path, today=TODAY)
    load([write(tmp_path / "late", mapping, clips="\n".join([head, lines[0], lines[2]]))], path, today=TODAY)
    before = captures(path)
    report = load([write(tmp_path / "early", mapping, clips="\n".join([head, lines[1], lines[3]]))], path, today=TODAY)
    assert [(f.line, f.rule, f.column) for f in report.findings] == [(2, "earlier", "capture_no")]
    assert "found 01.03.2026 9:05, expected a time after those of the captures of this visit" in report.findings[0].words
    assert "fitledger undo" in report.findings[0].words
    # The other visit is in, and nothing was put away.
    assert captures(path) == [*before, ("S2", 1, "left", 1.0)]
    # With the first load taken back, both come in one.
    undo(path, 2)
    undo(path, 3)
    assert captures(path) == []
    load([write(tmp_path / "all", mapping, clips="\n".join([head, *lines[:3]]))], path, today=TODAY)
    assert [row[1:] for row in captures(path)] == [(1, "left", 5.0), (2, "left", 3.0), (2, "right", -3.0)]

"""Rejected rows: written whole, mended, loaded again, and gone from the rejects; soft warnings; a folder known again."""

import csv
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from dashboard.printing import mend_text
from etl.history import undo
from etl.load import check_files, load
from etl.mend_files import to_mend
from etl.report import LoadReport
from etl.stage import stage as real
from shared.errors import UsageError
from shared.settings import Settings, Warnings
from shared.warehouse import open_reading
from tests.spec.tables import write_csv
from tests.spec.test_load import CAPTURES, FIRST, FITTERS, RIDERS, SESSIONS, TODAY, counts

BROKEN = CAPTURES + "S2 | 1 | left | 45 | 300\nS2 | 1 | right | x | 12\nS2 | 200 | left | 1 | 12\n"


def rejects(path: Path) -> list[dict[str, Any]]:
    warehouse = open_reading(path)
    rows = warehouse.rows('SELECT reject_no, load_id, "column", rule, value FROM raw.rejects ORDER BY line, "column"')
    warehouse.close()
    return rows


def written(path: Path, table: str) -> list[dict[str, str]]:
    """The rejected rows of a table as a person opens them."""
    warehouse = open_reading(path)
    (file,) = to_mend(warehouse, table).files
    warehouse.close()
    return list(csv.DictReader(mend_text(file).splitlines()))


def write_rejects(folder: Path, table: str, rows: list[dict[str, str]]) -> Path:
    folder.mkdir(parents=True, exist_ok=True)
    with (folder / f"{table}-rejects.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, fieldnames=list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)
    return folder


def stored(path: Path, table: str) -> int:
    warehouse = open_reading(path)
    n = int(warehouse.value(f'SELECT count(*) FROM core."{table}"'))
    warehouse.close()
    return n


def test_a_reject_is_written_once_with_all_its_faults(tmp_path: Path) -> None:
    path = tmp_path / "w.duckdb"
    load([write_csv(tmp_path / "x", **{**FIRST, "knee_captures": BROKEN})], path, today=TODAY)
    rows = written(path, "knee_captures")
    assert [(row["session_id"], row["capture_no"], row["side"], row["rule"], row["column"]) for row in rows] == [
        ("S2", "1", "left", "range", "knee_sway_mm; knee_tilt_deg"),
        ("S2", "1", "right", "number", "knee_tilt_deg"),
        ("S2", "200", "left", "range", "capture_no"),
    ]
    assert len({row["reject_no"] for row in rows}) == 3
    with pytest.raises(UsageError, match="'captures' is no table"):
        written(path, "captures")


def test_mended_rows_leave_the_rejects_and_the_others_stay(tmp_path: Path) -> None:
    path = tmp_path / "w.duckdb"
    load([write_csv(tmp_path / "x", **{**FIRST, "knee_captures": BROKEN})], path, today=TODAY)
    rows = written(path, "knee_captures")
    rows[0] |= {"knee_tilt_deg": "4.5", "knee_sway_mm": "30"}
    rows[2]["capture_no"] = "2"  # the key itself was wrong
    folder = write_rejects(tmp_path / "mended", "knee_captures", rows)
    report = load([folder], path, today=TODAY)
    # The row with a faulty tilt was stored without it, and is not mended yet.
    assert (counts(report, "knee_captures-rejects.csv"), report.files[0].cells) == ({"stored": 2, "unchanged": 1}, 1)
    assert report.files[0].words == "encoding: utf-8, separator ','"
    assert [(row["column"], row["load_id"]) for row in rejects(path)] == [("knee_tilt_deg", 1)]
    assert stored(path, "knee_captures") == 3 + 3
    # A mended row that is still wrong takes the place of the reject that it was.
    rows[1]["knee_tilt_deg"] = "99"
    load([write_rejects(tmp_path / "again", "knee_captures", rows[1:2])], path, today=TODAY)
    assert [(row["rule"], row["value"], row["load_id"]) for row in rejects(path)] == [("range", "99", 3)]


def test_the_broken_file_loaded_again_brings_no_reject_back(tmp_path: Path) -> None:
    path = tmp_path / "w.duckdb"
    folder = write_csv(tmp_path / "x", **{**FIRST, "knee_captures": BROKEN})
    load([folder], path, today=TODAY)
    rows = written(path, "knee_captures")
    rows[1]["knee_tilt_deg"] = "1"
    write_rejects(folder, "knee_captures", rows[1:2])  # mended beside the file it came from
    load([folder], path, today=TODAY)
    left = rejects(path)
    assert [row["column"] for row in left] == ["knee_sway_mm", "knee_tilt_deg", "capture_no"]
    report = load([folder], path, today=TODAY)
    assert report.load_id is None
    assert counts(report, "knee_captures.csv") == {"unchanged": 3, "rejected": 3}
    assert rejects(path) == left


def test_cells_that_a_spreadsheet_would_run_come_back_as_they_were(tmp_path: Path) -> None:
    path = tmp_path / "w.duckdb"
    folder = tmp_path / "x"
    folder.mkdir()
    names = ["=1+1", "@sum", "-plain", "'=quoted", "+49", "'plain"]
    lines = [f"F{number},{name},late" for number, name in enumerate(names)]
    (folder / "fitters.csv").write_text("\n".join(["fitter_id,fitter_name,trained_on", *lines]) + "\n", encoding="utf-8")
    load([folder], path, today=TODAY)
    rows = written(path, "fitters")
    assert [row["fitter_name"] for row in rows] == ["'=1+1", "'@sum", "'-plain", "''=quoted", "+49", "'plain"]
    mended = [{**row, "trained_on": "2020-01-01"} for row in rows]
    load([write_rejects(tmp_path / "mended", "fitters", mended)], path, today=TODAY)
    warehouse = open_reading(path)
    kept = [row["fitter_name"] for row in warehouse.rows("SELECT fitter_name FROM core.fitters ORDER BY fitter_id")]
    warehouse.close()
    assert kept == names
    assert rejects(path) == []


def warned(report: LoadReport) -> dict[tuple[str, str], int]:
    return {(group.rule, group.column): group.n for group in report.warnings}


def test_soft_warnings_are_told_and_stored_and_reject_nothing(tmp_path: Path) -> None:
    path = tmp_path / "w.duckdb"
    spread = "".join(f"S1 | {number} | left | {number % 7 - 3} | 14\n" for number in range(3, 60))
    jump = "S2 | 1 | left | 2 | 14\nS2 | 2 | left | 17 | 14\nS2 | 3 | left | 2.5 | 14\n"
    setups = """
        session_id | capture_no | side | insole_level | shims_added | stance_mm
        S2         | 1          | left | low          | 1           | 0
        S2         | 2          | left | low          | 1           | 0
        S2         | 3          | left | low          | 2           | 0
    """
    exams = "session_id | side | arch_height\nS2 | left | low\n"
    bikes = "session_id | moment | measure | value_mm\nS2 | arrival | saddle_height | 720\n"
    captures = CAPTURES + spread + jump
    tables = {**FIRST, "knee_captures": captures, "foot_setups": setups, "foot_exams": exams, "bike_measures": bikes}
    report = load([write_csv(tmp_path / "x", **tables)], path, today=TODAY)
    assert report.exit_code == 0
    # The middle of the tilts is near 0 and half of them lie within 2: 6 robust standard deviations are about 18.
    assert warned(report) == {
        ("knee_jump", "knee_tilt_deg"): 1,
        ("no_departure_bike", "session_id"): 2,
        ("no_exam", "session_id"): 1,
    }
    assert report.warnings[0].examples == [
        "Session S2, capture 2, left knee: tilt moved from 2.0° to 17.0° with an unchanged setup. "
        "Check the markers and the setup as written down."
    ]
    strict = Settings(warnings=Warnings(spread_sigmas=4, jump_deg=20))
    report = load([write_csv(tmp_path / "y", riders=RIDERS + "R3 | 1990 | male\n")], path, today=TODAY, settings=strict)
    assert warned(report) == {("far_value", "knee_tilt_deg"): 1}
    warehouse = open_reading(path)
    kept = warehouse.rows("SELECT rule, row_key, value FROM raw.warnings WHERE rule IN ('far_value', 'knee_jump')")
    warehouse.close()
    assert kept == [{"rule": "far_value", "row_key": "S2|2|left", "value": "17.0"}]


def test_a_spread_needs_enough_values_and_is_each_studios_own(tmp_path: Path) -> None:
    def captures(session: str, middle: int, n: int) -> str:
        return "".join(f"{session} | {number + 1} | left | {middle + number % 3} | 14\n" for number in range(n))

    sessions = SESSIONS.replace("S2         | R2       | F1        | quayside", "S2         | R2       | F1        | hillside")
    head = "session_id | capture_no | side | knee_tilt_deg | knee_sway_mm\n"
    tables = {"riders": RIDERS, "fitters": FITTERS, "fit_sessions": sessions}
    # 20 is usual in one studio and far out in the other.
    usual = head + captures("S1", 19, 40) + captures("S2", 1, 40)
    report = load(
        [
            write_csv(tmp_path / "a", **tables),
            write_csv(tmp_path / "b", knee_captures=usual),
        ],
        tmp_path / "a.duckdb",
        today=TODAY,
    )
    assert ("far_value", "knee_tilt_deg") not in warned(report)
    report = load(
        [write_csv(tmp_path / "c", knee_captures=head + "S2 | 90 | left | 20 | 14\n")], tmp_path / "a.duckdb", today=TODAY
    )
    assert warned(report) == {("far_value", "knee_tilt_deg"): 1}
    few = head + captures("S1", 1, 28) + "S1 | 90 | left | 25 | 14\n"
    report = load([write_csv(tmp_path / "d", **{**tables, "knee_captures": few})], tmp_path / "d.duckdb", today=TODAY)
    assert ("far_value", "knee_tilt_deg") not in warned(report)


def test_a_known_folder_is_answered_without_reading_a_row(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "w.duckdb"
    tables = {
        **FIRST,
        "knee_captures": BROKEN + "S9 | 1 | left | 1 | 12\n",
        "fit_sessions": SESSIONS + "S7 | R7 | F1 | quayside | 2026-03-03 | first\n",
    }
    folder = write_csv(tmp_path / "x", **tables)
    first = load([folder], path, today=TODAY)

    def unread(*_: object) -> None:
        raise AssertionError("a row was read")

    with monkeypatch.context() as patch:
        patch.setattr("etl.stage.stage", unread)
        again = load([folder], path, today=TODAY)
        checked = check_files([folder], path, today=TODAY)
    assert again.load_id is None
    assert again.findings == first.findings
    assert (checked.files, checked.findings) == (again.files, again.findings)
    # The row whose tilt alone is faulty is there without it.
    assert counts(again, "knee_captures.csv") == {"unchanged": 4, "rejected": 2, "waiting": 1}
    assert counts(again, "fit_sessions.csv") == {"unchanged": 2, "rejected": 1}
    assert again.files[2].words == first.files[2].words
    # What has joined since is told as it is now.
    load([write_csv(tmp_path / "y", riders=RIDERS + "R7 | 1990 | male\n")], path, today=TODAY)
    load(
        [write_csv(tmp_path / "z", fit_sessions=SESSIONS + "S9 | R1 | F1 | quayside | 2026-03-03 | first\n")], path, today=TODAY
    )
    monkeypatch.setattr("etl.stage.stage", unread)
    later = load([folder], path, today=TODAY)
    assert counts(later, "knee_captures.csv") == {"unchanged": 5, "rejected": 2}
    assert counts(later, "fit_sessions.csv") == {"unchanged": 3}


@pytest.mark.parametrize("why", ["corrected since", "another day", "other settings", "another file", "undone"])
def test_a_folder_whose_rows_may_fare_otherwise_is_read_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, why: str
) -> None:
    path, today, settings = tmp_path / "w.duckdb", TODAY, Settings()
    folder = write_csv(tmp_path / "x", **{**FIRST, "knee_captures": BROKEN})
    load([folder], path, today=TODAY)
    if why == "corrected since":
        load([write_csv(tmp_path / "y", knee_captures=CAPTURES.replace("2.5 ", "2.75"))], path, today=TODAY)
    elif why == "another day":  # a value out of range may be in it tomorrow, as a year of birth is
        today = TODAY + timedelta(days=1)
    elif why == "other settings":
        settings = Settings(warnings=Warnings(jump_deg=5))
    elif why == "another file":
        write_csv(folder, fitters__2="fitter_id | fitter_name\nF2 | Birch\n")
    else:
        load([write_csv(tmp_path / "y", riders=RIDERS + "R3 | 1990 | male\n")], path, today=TODAY)
        undo(path, 2)
    read: list[str] = []

    def noted(warehouse: Any, group: Any, *others: Any) -> Any:
        read.extend(source.name for source in group.values())
        return real(warehouse, group, *others)

    monkeypatch.setattr("etl.stage.stage", noted)
    load([folder], path, today=today, settings=settings)
    assert "knee_captures.csv" in read

"""What a mapping takes from other rows: numbers by the order of times, visits by rider and date, logs by time, setups carried
over, and what it fills; two rows of headings; and faulty cells that could as well be empty."""

import csv
from datetime import date
from pathlib import Path

import pytest

from dashboard.printing import write_rejects
from etl.load import check_files, load
from etl.mapping import parse_mapping
from etl.report import LoadReport
from shared.errors import UsageError
from shared.warehouse import open_reading
from tests.spec.tables import parsed
from tests.spec.workbook import sheet_xml, write_workbook

TODAY = date(2026, 11, 25)
PARENTS = {
    "riders": "rider_id\nR1\nR2\n",
    "fitters": "fitter_id | fitter_name\nF1 | A fitter\n",
    "fit_sessions": """
session_id | rider_id | fitter_id | studio_id | session_date | visit_kind
S1         | R1       | F1        | quayside  | 2026-03-01   | first
S2         | R1       | F1        | quayside  | 2026-04-01   | follow_up
S3         | R2       | F1        | quayside  | 2026-03-01   | first
S4         | R2       | F1        | quayside  | 2026-03-01   | refit
""",
}


def write(folder: Path, mapping: str = "", **files: str) -> Path:
    """Text tables as CSV with semicolons; a name with __ lies in a folder."""
    folder.mkdir(exist_ok=True)
    if mapping:
        (folder / "mapping.toml").write_text(mapping, encoding="utf-8")
    for name, text in files.items():
        path = folder / f"{name.replace('__', '/')}.csv"
        path.parent.mkdir(exist_ok=True)
        header, rows = parsed(text)
        path.write_text("\n".join(";".join(line) for line in [header, *rows]) + "\n", encoding="utf-8")
    return folder


def loaded(folder: Path, mapping: str = "", **files: str) -> tuple[LoadReport, Path]:
    """Loads such a folder beside riders, fitters and visits."""
    path = folder / "w.duckdb"
    load([write(folder / "parents", **PARENTS)], path, today=TODAY)
    return load([write(folder / "x", mapping, **files)], path, today=TODAY), path


def rows(path: Path, sql: str) -> list[tuple[object, ...]]:
    warehouse = open_reading(path)
    found = [tuple(row.values()) for row in warehouse.rows(sql)]
    warehouse.close()
    return found


def mend(path: Path, folder: Path, table: str, **cells: str) -> LoadReport:
    """Writes the rejects, mends the cells named like `was=now` and loads the files."""
    write_rejects(path, "", folder)
    file = folder / f"{table}-rejects.csv"
    text = file.read_text(encoding="utf-8")
    for was, now in cells.items():
        assert was in text
        text = text.replace(was, now)
    file.write_text(text, encoding="utf-8")
    return load([folder], path, today=TODAY)


def standing(path: Path) -> int:
    return len(rows(path, "SELECT DISTINCT reject_no FROM raw.rejects"))


# Faulty cells.


def test_a_faulty_cell_that_may_be_empty_leaves_the_rider_and_the_visits_in(tmp_path: Path) -> None:
    path = tmp_path / "w.duckdb"
    folder = write(tmp_path / "x", **{**PARENTS, "riders": "rider_id | height_cm | mass_kg\nR1 | 1,82 | 70\nR2 | 175 | 60\n"})
    report = load([folder], path, today=TODAY)
    assert rows(path, "SELECT rider_id, height_cm, mass_kg FROM core.riders ORDER BY ALL") == [
        ("R1", None, 70.0),
        ("R2", 175.0, 60.0),
    ]
    assert rows(path, "SELECT count(*) FROM core.fit_sessions") == [(4,)]
    riders = next(file for file in report.files if file.table == "riders")
    assert (riders.read, riders.stored, riders.rejected, riders.cells, report.exit_code) == (2, 2, 0, 1, 3)
    (finding,) = report.findings
    assert (finding.file, finding.line, finding.column, finding.value, finding.is_cell) == (
        "riders.csv",
        2,
        "height_cm",
        "1,82",
        True,
    )
    assert finding.words.endswith("The cell is kept as not recorded, and the rest of its row is stored.")
    assert standing(path) == 1
    # The known folder tells the same, and the broken file loaded again never puts the mended value away.
    known = load([folder], path, today=TODAY)
    assert [(file.unchanged, file.rejected, file.cells) for file in known.files if file.table == "riders"] == [(2, 0, 1)]
    mended = mend(path, tmp_path / "mend", "riders", **{"1,82": "182"})
    assert (mended.files[0].replaced, mended.files[0].cells, standing(path)) == (1, 0, 0)
    again = load([folder], path, today=TODAY)
    assert [(file.unchanged, file.rejected) for file in again.files if file.table == "riders"] == [(1, 1)]
    assert rows(path, "SELECT height_cm FROM core.riders ORDER BY rider_id") == [(182.0,), (175.0,)]
    assert standing(path) == 0


def test_a_faulty_cell_is_mended_where_the_export_leaves_it_empty(tmp_path: Path) -> None:
    path = tmp_path / "w.duckdb"
    load([write(tmp_path / "x", riders="rider_id | height_cm\nR1 | tall\n")], path, today=TODAY)
    assert standing(path) == 1
    load([write(tmp_path / "y", riders="rider_id | height_cm\nR1 | -\nR2 | -\n")], path, today=TODAY)
    assert standing(path) == 0


def test_a_recorded_value_is_not_put_away_by_a_faulty_cell(tmp_path: Path) -> None:
    path = tmp_path / "w.duckdb"
    load([write(tmp_path / "x", riders="rider_id | height_cm | mass_kg\nR1 | 182 | 70\n")], path, today=TODAY)
    report = load([write(tmp_path / "y", riders="rider_id | height_cm | mass_kg\nR1 | 1.82 | 71\n")], path, today=TODAY)
    assert (report.files[0].rejected, report.files[0].cells) == (1, 0)
    assert report.findings[0].words.endswith("A value is recorded already, so that this row changes nothing.")
    assert rows(path, "SELECT height_cm, mass_kg FROM core.riders") == [(182.0, 70.0)]


def test_a_cell_without_which_nothing_is_left_or_whose_absence_counts_rejects_its_row(tmp_path: Path) -> None:
    captures = "session_id | capture_no | side | knee_tilt_deg | power_w\nS1 | 1 | left | x | 200\nS1 | 1 | right | 2 | much\n"
    head = "session_id | capture_no | side | insole_level | shims_added | shims_built_in | stance_mm"
    setups = f"{head}\nS1 | 1 | left | low | 1 | x | 0\n"
    report, path = loaded(tmp_path, knee_captures=captures, foot_setups=setups)
    assert [(f.column, f.is_cell) for f in report.findings] == [
        ("shims_built_in", False), ("knee_tilt_deg", False), ("power_w", True)
    ]  # fmt: skip
    assert rows(path, "SELECT side, knee_tilt_deg, power_w FROM core.knee_captures") == [("right", 2.0, None)]
    assert rows(path, "SELECT count(*) FROM core.foot_setups") == [(0,)]


# What is filled is told.


def test_what_stands_for_an_empty_cell_is_counted(tmp_path: Path) -> None:
    mapping = """
[tables.foot_setups.columns]
shims_added = { from = "shims", empty = 0 }
insole_level = { from = "insole", empty = "none" }
stance_mm = { from = "stance", unit = "mm", empty = 0 }
"""
    setups = """
session_id | capture_no | side  | shims | insole | stance
S1         | 1          | left  | -     | low    | 3
S1         | 1          | right | 2     | -      | 1
S1         | 2          | left  | -     | -      | 2
"""
    report, path = loaded(tmp_path, mapping, foot_setups=setups)
    assert [filled.words for filled in report.filled] == [
        "foot_setups.shims_added: 2 empty cells stand for 0, as the mapping says.",
        "foot_setups.insole_level: 2 empty cells stand for none, as the mapping says.",
    ]
    assert rows(path, "SELECT sum(shims_added) FROM core.foot_setups") == [(2,)]


# Two rows of headings.

TWO_ROWS = """
[form]
heading_rows = 2
decimal = ","
[tables.knee_captures]
{where}
[tables.knee_captures.columns]
session_id = "Besuch"
capture_no = "Nr"
[[tables.knee_captures.each]]
side = {{ value = "left" }}
knee_tilt_deg = {{ from = "Links Neigung", unit = "deg" }}
knee_sway_mm = {{ from = "Links Weg", unit = "mm" }}
[[tables.knee_captures.each]]
side = {{ value = "right" }}
knee_tilt_deg = {{ from = "Rechts Neigung", unit = "deg" }}
knee_sway_mm = {{ from = "Rechts Weg", unit = "mm" }}
"""
UPPER = ["Besuch", "Nr", "Links", "", "Rechts", ""]
LOWER = ["", "", "Neigung", "Weg", "Neigung", "Weg"]
WIDE = [["S1", "1", "2,5", "11", "-3", "12"], ["S1", "2", "x", "13", "-2", "14"]]


@pytest.mark.parametrize("form", ["csv", "xlsx"])
def test_two_rows_of_headings_are_one_name(tmp_path: Path, form: str) -> None:
    where = 'files = "k.csv"' if form == "csv" else 'sheets = "k"'
    folder = write(tmp_path / "x", TWO_ROWS.format(where=where))
    if form == "csv":
        lines = [";".join(cells) for cells in (UPPER, LOWER, *WIDE)]
        (folder / "k.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    else:
        write_workbook(folder / "k.xlsx", {"k": sheet_xml([UPPER, LOWER, *WIDE])})
    path = tmp_path / "w.duckdb"
    report = load([folder], path, today=TODAY)
    assert rows(path, "SELECT capture_no, side, knee_tilt_deg, knee_sway_mm FROM raw.knee_captures ORDER BY ALL") == [
        (1, "left", 2.5, 11.0), (1, "right", -3.0, 12.0), (2, "left", None, 13.0), (2, "right", -2.0, 14.0),
    ]  # fmt: skip
    assert [(f.line, f.column, f.value) for f in report.findings] == [(4, "knee_tilt_deg", "x")]
    mended = mend(path, tmp_path / "mend", "knee_captures", **{",x,": ',"1,5",'})
    assert not mended.files[0].refused
    assert rows(
        path, "SELECT knee_tilt_deg FROM raw.knee_captures WHERE capture_no = 2 AND side = 'left' AND superseded_by IS NULL"
    ) == [(1.5,)]
    assert standing(path) == 0


# Numbers by the order of times.

BY_TIME = """
[tables.knee_captures]
files = "clips*.csv"
[tables.knee_captures.columns]
session_id = "visit"
side = "knee"
capture_no = { from = ["day", "clock"], with = " ", date_form = "%d.%m.%Y %H:%M", numbered = "NUMBERED" }
knee_tilt_deg = { from = "tilt", unit = "deg" }
"""
CLIPS = """
visit | day        | clock | knee  | tilt
S1    | 01.03.2026 | 10:20 | left  | 3
S1    | 01.03.2026 | 9:05  | left  | 5
S1    | 01.03.2026 | 10:20 | right | -3
S2    | 01.04.2026 | 9:00  | left  | 1
S1    | 01.03.2026 | 9:07  | right | -5
"""


def captures(path: Path) -> list[tuple[object, ...]]:
    return rows(path, "SELECT session_id, capture_no, side, knee_tilt_deg FROM core.knee_captures ORDER BY ALL")


@pytest.mark.parametrize(
    ("numbered", "of_s1"),
    [
        ("session", [(1, "left", 5.0), (2, "right", -5.0), (3, "left", 3.0), (3, "right", -3.0)]),
        ("side", [(1, "left", 5.0), (1, "right", -5.0), (2, "left", 3.0), (2, "right", -3.0)]),
    ],
)
def test_captures_are_numbered_by_the_order_of_their_times(
    tmp_path: Path, numbered: str, of_s1: list[tuple[int, str, float]]
) -> None:
    report, path = loaded(tmp_path, BY_TIME.replace("NUMBERED", numbered), clips=CLIPS)
    assert report.findings == []
    assert captures(path) == [*(("S1", *row) for row in of_s1), ("S2", 1, "left", 1.0)]


def test_times_of_a_visit_are_ordered_over_all_of_its_files(tmp_path: Path) -> None:
    head, *lines = CLIPS.strip().splitlines()
    files = {f"d{no}__clips{no}": f"{head}\n{line}\n" for no, line in enumerate(lines)}
    _, path = loaded(tmp_path, BY_TIME.replace("NUMBERED", "session"), **files)
    assert [row[1:] for row in captures(path)][:4] == [
        (1, "left", 5.0),
        (2, "right", -5.0),
        (3, "left", 3.0),
        (3, "right", -3.0),
    ]


def test_a_time_that_cannot_be_read_leaves_its_whole_visit_to_be_mended(tmp_path: Path) -> None:
    report, path = loaded(tmp_path, BY_TIME.replace("NUMBERED", "session"), clips=CLIPS.replace("9:07 ", "noon "))
    assert [(f.rule, f.column) for f in report.findings] == [("order", "capture_no")] * 4
    assert "found 01.03.2026 noon, expected a time that can be read in every row of this visit" in report.findings[-1].words
    assert captures(path) == [("S2", 1, "left", 1.0)]
    assert mend(path, tmp_path / "mend", "knee_captures", noon="9:07").files[0].stored == 4
    assert [row[1:] for row in captures(path)][:4] == [
        (1, "left", 5.0),
        (2, "right", -5.0),
        (3, "left", 3.0),
        (3, "right", -3.0),
    ]
    assert standing(path) == 0


def test_a_mended_row_keeps_the_number_that_its_time_gave_it(tmp_path: Path) -> None:
    _, path = loaded(
        tmp_path, BY_TIME.replace("NUMBERED", "session"), clips=CLIPS.replace("10:20 | left  | 3", "10:20 | left  | 3°")
    )
    mend(path, tmp_path / "mend", "knee_captures", **{"3°": "3"})
    assert ("S1", 3, "left", 3.0) in captures(path)
    assert (len(captures(path)), standing(path)) == (5, 0)


# Visits by rider and date.

BOOKINGS = """
[tables.follow_ups]
form = { date_form = "%d.%m.%Y" }
files = "calendar.csv"
[tables.follow_ups.columns]
follow_up_id = "no"
session_id = { rider = { from = "client", strip = "no." }, date = "booked", within_days = 20 }
booked_on = "booked"
due_on = "due"
state = "state"
attended_on = "came"
returned_session_id = { rider = "client", date = "came", within_days = 0 }
"""
CALENDAR = """
no | client | booked     | due        | came       | state
1  | R1     | 05.03.2026 | 20.03.2026 | 01.04.2026 | attended
2  | R1     | 01.04.2026 | 20.04.2026 | -          | open
3  | R1     | 25.03.2026 | 20.04.2026 | -          | open
4  | no. R2 | 02.03.2026 | 20.03.2026 | -          | open
5  | R9     | 02.03.2026 | 20.03.2026 | -          | open
6  | R1     | 01.03.2026 | 20.03.2026 | 02.04.2026 | attended
"""


def follow_ups(path: Path) -> list[tuple[object, ...]]:
    return rows(path, "SELECT follow_up_id, session_id, returned_session_id FROM core.follow_ups ORDER BY ALL")


def test_a_booking_belongs_to_the_nearest_fit_of_its_rider(tmp_path: Path) -> None:
    report, path = loaded(tmp_path, BOOKINGS, calendar=CALENDAR)
    assert follow_ups(path) == [("1", "S1", "S2"), ("2", "S2", None), ("6", "S1", None)]
    found = [(f.line, f.column, f.rule, f.value, f.is_cell) for f in report.findings]
    assert found == [
        (4, "session_id", "no_fit", "R1, 2026-03-25", False),
        (5, "session_id", "several_fits", "R2, 2026-03-02", False),
        (6, "session_id", "no_fit", "R9, 2026-03-02", False),
        (7, "returned_session_id", "no_fit", "R1, 2026-04-02", True),
    ]
    # One is mended by its rider, one by hand, one by its date.
    write_rejects(path, "", tmp_path / "mend")
    file = tmp_path / "mend" / "follow_ups-rejects.csv"
    with file.open(encoding="utf-8", newline="") as opened:
        lines = list(csv.DictReader(opened))
    by_no = {line["no"]: line for line in lines}
    by_no["3"]["booked"] = "20.03.2026"
    by_no["4"]["'@session_id"] = "S4"
    by_no["5"]["client"] = "R1"
    with file.open("w", encoding="utf-8", newline="") as opened:
        writer = csv.DictWriter(opened, list(lines[0]))
        writer.writeheader()
        writer.writerows(lines)
    load([file], path, today=TODAY)
    assert [row[:2] for row in follow_ups(path)] == [
        ("1", "S1"),
        ("2", "S2"),
        ("3", "S1"),
        ("4", "S4"),
        ("5", "S1"),
        ("6", "S1"),
    ]
    assert standing(path) == 1


def test_a_calendar_is_read_again_once_its_fit_has_come(tmp_path: Path) -> None:
    path = tmp_path / "w.duckdb"
    folder = write(tmp_path / "x", BOOKINGS, calendar=CALENDAR)
    load([folder], path, today=TODAY)
    load([write(tmp_path / "parents", **PARENTS)], path, today=TODAY)
    assert follow_ups(path) == []
    load([folder], path, today=TODAY)
    assert [row[0] for row in follow_ups(path)] == ["1", "2", "6"]


# A log by time.

LOG = """
[tables.foot_setups]
files = "clips*.csv"
[tables.foot_setups.columns]
session_id = "visit"
capture_no = { from = "at", numbered = "session" }
side = "foot"
[tables.foot_setups.log]
files = "changes.csv"
captured_at = "at"
changed_at = { from = "when", date_form = "%d.%m.%Y %H:%M" }
[tables.foot_setups.log.columns]
VISIT
side = "foot"
insole_level = { from = "insole", empty = "none" }
shims_added = { from = "more", adds = true, empty = 0 }
stance_mm = { from = "stance", unit = "mm", empty = 0 }
"""
AT = """
visit | at                  | foot
S1    | 2026-03-01T09:00:00 | left
S1    | 2026-03-01T09:10:00 | left
S1    | 2026-03-01T09:20:00 | left
S2    | 2026-04-01T09:00:00 | left
S2    | 2026-04-01T09:10:00 | left
"""
CHANGES = """
fit | when             | foot | insole | more | stance
S1  | 01.03.2026 09:20 | left | -      | 1    | -
S1  | 01.03.2026 09:05 | left | low    | 1    | 2
S2  | 01.04.2026 09:05 | left | high   | -    | -
S2  | 02.04.2026 09:05 | left | medium | -    | -
"""
STOOD = [
    ("S1", 1, "none", 0, 0.0), ("S1", 2, "low", 1, 2.0), ("S1", 3, "low", 2, 2.0),
    ("S2", 1, "none", 0, 0.0), ("S2", 2, "high", 0, 0.0),
]  # fmt: skip


def setups(path: Path) -> list[tuple[object, ...]]:
    return rows(path, "SELECT session_id, capture_no, insole_level, shims_added, stance_mm FROM core.foot_setups ORDER BY ALL")


@pytest.mark.parametrize("visit", ['session_id = "fit"', ""])
def test_each_capture_has_the_setup_last_written_before_it(tmp_path: Path, visit: str) -> None:
    report, path = loaded(tmp_path, LOG.replace("VISIT", visit), a__clips=AT, log__changes=CHANGES)
    assert report.findings == []
    assert setups(path) == STOOD
    assert [(filled.column, filled.n) for filled in report.filled] == [
        ("insole_level", 2),
        ("shims_added", 3),
        ("stance_mm", 3),
    ]


def test_many_files_share_a_log_that_is_opened_once(tmp_path: Path) -> None:
    head, *lines = AT.strip().splitlines()
    files = {f"d{no}__clips{no}": f"{head}\n{line}\n" for no, line in enumerate(lines)}
    report, path = loaded(
        tmp_path, LOG.replace("VISIT", 'session_id = "fit"'), log__changes=CHANGES.replace("S2  | 02", "S7  | 02"), **files
    )
    assert setups(path) == STOOD
    told = [file.words for file in report.files if "changes belong" in file.words]
    assert len(told) == 1
    assert "1 of the log's changes belong to no capture of its 5 files" in told[0]


@pytest.mark.parametrize("visit", ['session_id = "fit"', ""])
def test_a_faulty_change_goes_round_with_the_captures_after_it(tmp_path: Path, visit: str) -> None:
    report, path = loaded(
        tmp_path, LOG.replace("VISIT", visit), a__clips=AT, log__changes=CHANGES.replace("low    | 1", "low    | one")
    )
    assert {(f.column, f.value) for f in report.findings} == {("shims_added", "one")}
    write_rejects(path, "", tmp_path / "mend")
    file = tmp_path / "mend" / "foot_setups-rejects-changes.csv"
    file.write_text(file.read_text(encoding="utf-8").replace("one", "1"), encoding="utf-8")
    load([tmp_path / "mend"], path, today=TODAY)
    assert setups(path) == STOOD
    assert standing(path) == 0


def test_a_change_without_a_time_leaves_its_visit_to_be_mended(tmp_path: Path) -> None:
    text = CHANGES.replace("01.03.2026 09:05", "in the morning")
    report, path = loaded(tmp_path, LOG.replace("VISIT", 'session_id = "fit"'), a__clips=AT, log__changes=text)
    assert {(f.rule, f.column) for f in report.findings} == {("order", "capture_no")}
    assert setups(path) == STOOD[3:]


# A setup that is carried over.

CARRY = """
[tables.foot_setups.columns]
insole_level = { from = "insole", carry = "HOW", empty = "none" }
shims_added = { from = "shims", carry = "HOW" }
stance_mm = { from = "stance", unit = "mm", empty = 0 }
"""
SETUPS = """
session_id | capture_no | side | insole | shims | stance
S1         | 1          | left | -      | 1     | 1
S1         | 2          | left | low    | 2     | -
S1         | 3          | left | -      | -     | -
S2         | 1          | left | -      | -     | -
S2         | 2          | left | high   | -     | -
"""


def test_an_empty_setup_is_the_last_one_before_in_the_visit(tmp_path: Path) -> None:
    report, path = loaded(tmp_path, CARRY.replace("HOW", "visit"), foot_setups=SETUPS)
    assert setups(path) == [("S1", 1, "none", 1, 1.0), ("S1", 2, "low", 2, 0.0), ("S1", 3, "low", 2, 0.0)]
    assert {(f.rule, f.column, f.line) for f in report.findings} == {
        ("required", "shims_added", 5),
        ("required", "shims_added", 6),
    }


def test_an_empty_setup_is_that_of_the_riders_earlier_visit_where_the_mapping_says_so(tmp_path: Path) -> None:
    report, path = loaded(tmp_path, CARRY.replace("HOW", "rider"), foot_setups=SETUPS)
    whole = [
        ("S1", 1, "none", 1, 1.0), ("S1", 2, "low", 2, 0.0), ("S1", 3, "low", 2, 0.0),
        ("S2", 1, "low", 2, 0.0), ("S2", 2, "high", 2, 0.0),
    ]  # fmt: skip
    assert setups(path) == whole
    assert [filled.words for filled in report.filled if "last one" in filled.words] == [
        f"foot_setups.{column}: {n} empty cells were filled from the last one before in the rider's captures, of earlier "
        "visits too, as the mapping says."
        for column, n in (("insole_level", 2), ("shims_added", 3))
    ]
    # The earlier visit may have come with an earlier load.
    head, *lines = SETUPS.strip().splitlines()
    other = tmp_path / "other"
    other.mkdir()
    _, path = loaded(other, CARRY.replace("HOW", "rider"), foot_setups="\n".join([head, *lines[:3]]))
    later = write(other / "later", CARRY.replace("HOW", "rider"), foot_setups="\n".join([head, *lines[3:]]))
    load([later], path, today=TODAY)
    assert setups(path) == whole


def test_a_setup_carried_from_a_faulty_one_goes_round(tmp_path: Path) -> None:
    report, path = loaded(tmp_path, CARRY.replace("HOW", "rider"), foot_setups=SETUPS.replace("low    | 2", "low    | 2?"))
    assert {(f.column, f.value, f.line) for f in report.findings} == {("shims_added", "2?", line) for line in (3, 4, 5, 6)}
    mend(path, tmp_path / "mend", "foot_setups", **{"2?": "2"})
    assert [row[3] for row in setups(path)] == [1, 2, 2, 2, 2]
    assert standing(path) == 0


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ('[tables.riders.columns]\nriding = { from = "x", carry = "visit" }\n', "only the setup of a foot is carried over"),
        (
            '[tables.knee_captures.columns]\nside = { from = "x", numbered = "session" }\n',
            "Only capture_no of a table takes it",
        ),
        (
            '[tables.riders.columns]\nrider_id = { rider = "x", date = "y", within_days = 1 }\n',
            "Only a column that names a visit",
        ),
        (
            '[tables.follow_ups.columns]\nsession_id = { rider = "x", within_days = 1 }\n',
            "expected rider, date and within_days together",
        ),
        (
            '[tables.foot_setups.log]\nfiles = "x.csv"\nchanged_at = "t"\n[tables.foot_setups.log.columns]\nside = "s"\n',
            "captured_at and changed_at go together",
        ),
        (
            '[tables.foot_setups.log]\nfiles = "x.csv"\nchanged_at = "t"\ncaptured_at = "t"\n'
            '[tables.foot_setups.log.columns]\ncapture_no = "s"\n',
            "from a time or from a capture on, not both",
        ),
    ],
)
def test_what_cannot_be_taken_from_other_rows_is_told(text: str, sentence: str) -> None:
    with pytest.raises(UsageError, match=sentence):
        parse_mapping(text.encode(), "mapping.toml")


def test_a_check_tells_the_same(tmp_path: Path) -> None:
    _, path = loaded(tmp_path, "", riders="rider_id\nR1\n")
    folder = write(tmp_path / "y", BOOKINGS + LOG.replace("VISIT", ""), calendar=CALENDAR, clips=AT, changes=CHANGES)
    checked = check_files([folder], path, today=TODAY)
    report = load([folder], path, today=TODAY)
    assert (checked.files, checked.findings, checked.filled) == (report.files, report.findings, report.filled)

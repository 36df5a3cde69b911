"""What a mapping says of texts: places of files, patterns, words to strip, zeros, several forms of dates, rows before a sheet's
headings."""

import re
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from etl.load import load
from etl.mapping import parse_mapping
from etl.mend_files import to_mend
from shared.errors import UsageError
from shared.warehouse import open_reading
from tests.spec.test_mapping import core, mapped, read
from tests.spec.workbook import sheet_xml, write_workbook

TODAY = date(2026, 11, 25)
SESSION_FILES = """
[tables.knee_captures]
files = "*_*.csv"
[tables.knee_captures.columns]
session_id = { from = "@folder", pattern = "^visit-([0-9]+)$", without_zeros = false }
capture_no = { from = "@file", pattern = "_([0-9]+)$" }
side = { from = "@file", pattern = "^(L|R)_", codes = { L = "left", R = "right" } }
captured_at = { from = "@path", pattern = "^(\\\\d{4}-\\\\d{2}-\\\\d{2})/" }
knee_tilt_deg = { from = "angle", unit = "deg" }
"""


def session_files(folder: Path) -> Path:
    for visit, name, angle in (("0007", "L_1", "2.5"), ("0007", "R_1", "-1"), ("0008", "L_2", "x")):
        place = folder / "2026-03-01" / f"visit-{visit}"
        place.mkdir(parents=True, exist_ok=True)
        (place / f"{name}.csv").write_text(f"angle\n{angle}\n", encoding="utf-8")
    (folder / "mapping.toml").write_text(SESSION_FILES.replace("\\\\", "\\"), encoding="utf-8")
    return folder


def captures(path: Path) -> list[tuple[Any, ...]]:
    names = ("session_id", "capture_no", "side", "knee_tilt_deg")
    return [tuple(row[name] for name in names) for row in core(path, "knee_captures", "raw")]


def test_session_side_and_number_come_from_the_names_of_folders_and_files(tmp_path: Path) -> None:
    path = tmp_path / "w.duckdb"
    folder = session_files(tmp_path / "x")
    (folder / "mapping.toml").write_text(
        SESSION_FILES.replace("\\\\", "\\").replace('"^(\\d', "'^(\\d").replace(')/" }', ")/' }")
    )
    load([folder], path, today=TODAY)
    assert captures(path) == [("0007", 1, "left", 2.5), ("0007", 1, "right", -1.0)]
    assert str(core(path, "knee_captures", "raw")[0]["captured_at"]) == "2026-03-01 00:00:00"
    # A rejected row keeps the place that it came from, and is read by it wherever its file to mend lies.
    warehouse = open_reading(path)
    (file,) = to_mend(warehouse).files
    warehouse.close()
    assert dict(zip(file.headings, file.rows[0], strict=True)) | {"words": "", file.headings[4]: ""} == {
        "angle": "x", "@path": "2026-03-01/visit-0008/L_2.csv", "@file": "L_2", "@folder": "visit-0008", file.headings[4]: "",
        "rule": "number", "column": "angle", "words": "",
    }  # fmt: skip
    mend = tmp_path / "knee_captures-rejects.csv"
    mend.write_text("\n".join([",".join(file.headings), ",".join(["3", *map(str, file.rows[0][1:5]), "", "", ""])]))
    load([mend], path, today=TODAY)
    assert captures(path)[2:] == [("0008", 2, "left", 3.0)]
    mend.write_text(f"angle,{file.headings[4]}\n4,{file.rows[0][4]}\n")
    with pytest.raises(Exception, match="the column @path is missing, which tells where its rows came from"):
        load([mend], path, today=TODAY)


@pytest.mark.parametrize(
    ("cell", "left", "right"),
    [("2 varus L, 1 R", "2", "1"), ("1 R", None, "1"), ("3 varus L", "3", None), ("two", "two", "two")],
)
def test_a_text_is_taken_apart_by_named_groups(tmp_path: Path, cell: str, left: str | None, right: str | None) -> None:
    pattern = "^(?:(?P<left>[0-9]+) varus L)?(?:, )?(?:(?P<right>[0-9]+) R)?$"
    text = f"""
[tables.foot_setups.columns]
shims_added = {{ from = "wedges", pattern = "{pattern}", group = "left" }}
shims_built_in = {{ from = "wedges", pattern = "{pattern}", group = "right" }}
"""
    head = "session_id | capture_no | side | insole_level | stance_mm | wedges"
    (row,) = read(tmp_path, text, foot_setups=f"{head}\nS1 | 1 | left | low | 0 | {cell}\n")
    assert (row["shims_added"], row["shims_built_in"]) == (left, right)


@pytest.mark.parametrize(
    ("cell", "made"),
    [("ca. 2,1°", "2.1"), ("CA. -3,2", "-3.2"), ("3,2 °", "3.2"), ("2,1", "2.1"), ("um 2,1", "um 2,1"), ("ca.", None)],
)
def test_words_and_units_are_stripped_where_it_is_said(tmp_path: Path, cell: str, made: str | None) -> None:
    text = 'form = { decimal = "," }\n[tables.knee_captures.columns]\n'
    text += 'knee_tilt_deg = { from = "v", unit = "deg", strip = ["ca.", "°"] }\n'
    (row,) = read(tmp_path, text, knee_captures=f"session_id | capture_no | side | v\nS1 | 1 | left | {cell}\n")
    assert row["knee_tilt_deg"] == made


@pytest.mark.parametrize(
    ("cell", "made"), [("0202", "202"), ("202", "202"), ("00", "0"), ("R02", "R02"), ("0202a", "0202a"), ("007-1", "007-1")]
)
def test_ids_are_the_same_with_and_without_leading_zeros_where_it_is_said(tmp_path: Path, cell: str, made: str) -> None:
    text = '[tables.riders.columns]\nrider_id = { from = "no", without_zeros = true }\n'
    assert read(tmp_path, text, riders=f"no | birth_year\n{cell} | 1980\n")[0]["rider_id"] == made


def test_several_forms_of_dates_are_tried_in_order_and_told(tmp_path: Path) -> None:
    text = '[tables.fit_sessions.columns]\nsession_date = { from = "day", date_forms = ["%d.%m.%Y", "%d.%m.%y", "%Y/%m/%d"] }\n'
    head = "session_id | rider_id | fitter_id | studio_id | visit_kind | day"
    days = ("03.02.2026", "04.02.26", "2026/02/05", "2026-02-06", "May 7")
    rows = "".join(f"S{n} | R1 | F1 | quay | first | {day}\n" for n, day in enumerate(days))
    made = [row["session_date"] for row in read(tmp_path, text, fit_sessions=f"{head}\n{rows}")]
    assert made == ["2026-02-03", "2026-02-04", "2026-02-05", "2026-02-06", "May 7"]
    report = mapped(tmp_path, text, fit_sessions=f"{head}\n{rows}")
    assert "; dates tried as %d.%m.%Y, then %d.%m.%y, then %Y/%m/%d" in report.files[0].words


def test_rows_before_the_headings_of_a_sheet_are_skipped(tmp_path: Path) -> None:
    rows = [["Riders of the quayside"], [], ["", "as of March"], ["rider_id", "birth_year"], ["R1", 1980], ["R2", 1700]]
    folder = tmp_path / "x"
    folder.mkdir()
    write_workbook(folder / "book.xlsx", {"riders": sheet_xml(rows)})
    (folder / "mapping.toml").write_text("[form]\nskip_lines = 3\n", encoding="utf-8")
    report = load([folder], tmp_path / "w.duckdb", today=TODAY)
    assert (report.files[0].read, report.files[0].stored, report.files[0].cells) == (2, 2, 1)
    assert [(finding.line, finding.value) for finding in report.findings] == [(6, "1700")]


@pytest.mark.parametrize(
    ("column", "sentence"),
    [
        ("strip = ['-']", "'-' could be part of a number"),
        ("strip = ['mm2']", "'mm2' could be part of a number"),
        ("pattern = '('", "'(' is no regular expression"),
        ("pattern = 'x'", "the pattern has 0 groups"),
        ("pattern = '(a)(b)'", "the pattern has 2 groups"),
        ("pattern = '(?P<a>x)', group = 'b'", "the pattern has no group named 'b'; its named groups: a."),
        ("group = 'b'", "group is one of a pattern"),
        ("pattern = '(?=a)(b)'", "may not look ahead"),
        ("pattern = '(a)\\1'", "may not look ahead"),
        ("pattern = '((?:a{900}){900})'", "the warehouse cannot search with"),
    ],
)
def test_what_a_text_cannot_be_taken_apart_by_is_told(column: str, sentence: str) -> None:
    text = f"[tables.riders.columns]\nriding = {{ from = 'x', {column} }}"
    with pytest.raises(UsageError, match=re.escape(sentence)):
        parse_mapping(text.encode(), "m.toml")

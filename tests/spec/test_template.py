"""The template for studios that record by hand: filled in as in a spreadsheet program, it loads without a mapping."""

from datetime import date, datetime
from pathlib import Path

import pytest
from openpyxl import load_workbook
from typer.testing import CliRunner

from dashboard.cli import app
from etl.load import load
from etl.template import write_csvs, write_workbook
from shared.catalogue import catalogue
from shared.errors import UsageError
from shared.warehouse import open_reading
from tests.conftest import TODAY

# A visit by hand: a row a table at least, cells as a spreadsheet program keeps them.
FILLED: dict[str, list[dict[str, object]]] = {
    "riders": [{"rider_id": "0202", "birth_year": 1980, "sex": "female", "height_cm": 171.5}],
    "fitters": [{"fitter_id": "F1", "fitter_name": "Alder", "trained_on": date(2021, 4, 12)}],
    "fit_sessions": [
        {
            "session_id": "S1", "rider_id": "0202", "fitter_id": "F1", "studio_id": "quayside",
            "session_date": date(2026, 3, 2), "visit_kind": "first", "saddle_condition": "sound",
        },
    ],
    "foot_exams": [
        {"session_id": "S1", "side": side, "arch_height": "low", "forefoot_angle_deg": 6.5, "foot_posture_index": 3}
        for side in ("left", "right")
    ],
    "knee_captures": [
        {
            "session_id": "S1", "capture_no": 1, "side": side, "knee_tilt_deg": -1.2, "knee_sway_mm": 14,
            "captured_at": datetime(2026, 3, 2, 9, 30),
        }
        for side in ("left", "right")
    ],
    "foot_setups": [
        {
            "session_id": "S1", "capture_no": 1, "side": side, "insole_level": "low", "shims_added": 1, "stance_mm": 2.5,
            "foot_room_ok": True,
        }
        for side in ("left", "right")
    ],
    "bike_measures": [{"session_id": "S1", "moment": "arrival", "measure": "saddle_height", "value_mm": 735}],
    "rider_ratings": [{"session_id": "S1", "capture_no": 1, "topic": "comfort", "body_part": "whole", "score": 6}],
    "follow_ups": [
        {"follow_up_id": "B1", "session_id": "S1", "booked_on": date(2026, 3, 2), "due_on": date(2026, 3, 16), "state": "open"}
    ],
    "drawn_orders": [
        {
            "draw_id": "C1-0001", "comparison_id": "C1", "session_id": "S1", "side": "left", "capture_before": 1,
            "drawn": "second", "first_step": "insole_low", "second_step": "shim_more", "outcome": "tilt", "stratum": "F1",
            "block": 0, "block_size": 4, "place": 0, "drawn_at": datetime(2026, 3, 2, 9, 33), "opened_on": date(2026, 3, 1),
            "stop_after": 60, "commitment": "95cbcc",
        }
    ],
}  # fmt: skip


def test_a_filled_template_loads_without_a_mapping_and_without_a_finding(tmp_path: Path) -> None:
    path = write_workbook(tmp_path / "studio.xlsx")
    book = load_workbook(path)
    for name, rows in FILLED.items():
        for number, row in enumerate(rows, 2):
            for column, value in row.items():
                cell = book[name].cell(number, catalogue()[name].column_names.index(column) + 1, value)
                cell.number_format = book[name].column_dimensions[cell.column_letter].number_format
    book.save(path)
    report = load([path], tmp_path / "w.duckdb", today=TODAY)
    assert report.findings == [] and report.exit_code == 0
    assert {file.table: (file.read, file.stored) for file in report.files} == {
        name: (len(rows), len(rows)) for name, rows in FILLED.items()
    }
    assert all("left out" not in file.words for file in report.files)
    warehouse = open_reading(tmp_path / "w.duckdb")
    assert warehouse.value("SELECT rider_id FROM core.riders") == "0202"
    assert warehouse.value("SELECT session_date FROM core.fit_sessions") == date(2026, 3, 2)
    assert warehouse.value("SELECT captured_at FROM core.knee_captures LIMIT 1") == datetime(2026, 3, 2, 9, 30)
    assert warehouse.value("SELECT bool_and(foot_room_ok) FROM core.foot_setups") is True
    warehouse.close()


def test_an_empty_template_holds_the_contract_and_no_row(tmp_path: Path) -> None:
    path = write_workbook(tmp_path / "studio.xlsx")
    book = load_workbook(path)
    assert {sheet.title: tuple(cell.value for cell in sheet[1]) for sheet in book} == {
        table.name: table.column_names for table in catalogue().values()
    }
    report = load([path], tmp_path / "w.duckdb", today=TODAY)
    assert [file.read for file in report.files] == [0] * 10 and report.exit_code == 0


def test_codes_are_lists_and_limits_hold_in_the_cells(tmp_path: Path) -> None:
    book = load_workbook(write_workbook(tmp_path / "studio.xlsx"))
    held = {
        (sheet.title, sheet.cell(1, next(iter(one.sqref.ranges)).min_col).value): one
        for sheet in book
        for one in sheet.data_validations.dataValidation
    }
    assert held["riders", "sex"].formula1 == '"female,male,other"'
    assert held["foot_setups", "foot_room_ok"].formula1 == '"TRUE,FALSE"'
    tilt = held["knee_captures", "knee_tilt_deg"]
    assert (tilt.type, tilt.formula1, tilt.formula2) == ("decimal", "-30", "30")
    assert held["foot_setups", "shims_added"].type == "whole"
    assert held["fit_sessions", "session_date"].formula1 == "DATE(1990,1,1)"
    note = book["knee_captures"]["D1"].comment.text
    assert book["knee_captures"]["D1"].value == "knee_tilt_deg"
    assert "In °." in note and "+ = knee outside" in note
    # Ids stay text, so that their zeros do.
    assert book["riders"].column_dimensions["A"].number_format == "@"


def test_csvs_hold_the_first_line_and_their_columns_are_explained(tmp_path: Path) -> None:
    written = write_csvs(tmp_path / "x")
    assert [path.name for path in written] == [*(f"{name}.csv" for name in catalogue()), "columns.txt"]
    assert "  knee_sway_mm: " in (tmp_path / "x" / "columns.txt").read_text(encoding="utf-8")
    with (tmp_path / "x" / "riders.csv").open("a", encoding="utf-8") as file:
        file.write("R1,1980,female,171,64,road\n")
    report = load([tmp_path / "x"], tmp_path / "w.duckdb", today=TODAY)
    assert sum(file.stored for file in report.files) == 1 and report.exit_code == 0


def test_what_may_be_filled_in_is_never_overwritten(tmp_path: Path) -> None:
    path = write_workbook(tmp_path / "studio.xlsx")
    with pytest.raises(UsageError, match="is there already, and may be filled in"):
        write_workbook(path)
    with pytest.raises(UsageError, match="Name a file that ends in"):
        write_workbook(tmp_path / "studio.ods")
    (tmp_path / "x").mkdir()
    (tmp_path / "x" / "riders.csv").write_text("rider_id\nR1\n", encoding="utf-8")
    with pytest.raises(UsageError, match=r"riders\.csv is there already"):
        write_csvs(tmp_path / "x")
    assert [path.name for path in (tmp_path / "x").iterdir()] == ["riders.csv"]


def test_the_command_says_what_to_do_with_it(tmp_path: Path) -> None:
    told = CliRunner().invoke(app, ["template", str(tmp_path / "studio.xlsx")])
    assert told.exit_code == 0
    assert "Fill in the sheets" in told.output and f"fitledger start {tmp_path}" in told.output
    assert CliRunner().invoke(app, ["template", "--csv", str(tmp_path / "x")]).exit_code == 0
    assert CliRunner().invoke(app, ["template"]).exit_code != 0

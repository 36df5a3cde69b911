"""What a warehouse holds nothing of is told at a check, with what it costs; it is never a zero."""

from datetime import date
from pathlib import Path

from typer.testing import CliRunner

from dashboard.cli import app
from etl.absent import absent_tables
from etl.load import check_files, load
from shared.catalogue import catalogue
from shared.warehouse import open_reading
from tests.spec.tables import write_csv
from tests.spec.test_load import FIRST

TODAY = date(2026, 11, 25)
EXAMS = "session_id | side | arch_height\nS2 | left | low\n"


def test_a_check_lists_what_neither_files_nor_warehouse_hold(tmp_path: Path) -> None:
    path = tmp_path / "w.duckdb"
    folder = write_csv(tmp_path / "x", **FIRST)
    checked = check_files([folder], path, today=TODAY)
    # Nothing is missing of a studio that draws no order.
    held = set(FIRST)
    assert [absent.table for absent in checked.absent] == [name for name in catalogue() if name not in {*held, "drawn_orders"}]
    load([folder], path, today=TODAY)
    exams = write_csv(tmp_path / "y", foot_exams=EXAMS)
    assert "foot_exams" not in {absent.table for absent in check_files([exams], path, today=TODAY).absent}
    # A folder that is known again is told the same, and a row that waits is there.
    assert check_files([folder], path, today=TODAY).absent == checked.absent
    warehouse = open_reading(path)
    assert absent_tables(warehouse) == checked.absent
    warehouse.close()


def test_the_command_says_what_it_costs_at_a_check_alone(tmp_path: Path) -> None:
    folder = write_csv(tmp_path / "x", **FIRST)
    words = (str(folder), "--warehouse", str(tmp_path / "w.duckdb"))
    told = CliRunner().invoke(app, ["check", *words]).output
    assert "\nNot recorded, in these files or the warehouse:\n" in told
    assert "  follow_ups is not recorded: what was booked, who is overdue" in told
    assert "Not recorded" not in CliRunner().invoke(app, ["load", *words]).output

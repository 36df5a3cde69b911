"""Writes a workbook as a studio keeps one by hand."""

from pathlib import Path

from tests.spec.workbook import sheet_xml, write_workbook


def write_book(path: Path, sheets: dict[str, list[list[str]]]) -> None:
    """A workbook of text cells, a sheet a list of rows."""
    write_workbook(path, {name: sheet_xml(rows) for name, rows in sheets.items()})

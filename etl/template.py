"""An empty workbook or folder of CSVs in the form of the contract, for studios that record by hand: made from the catalogue.

Each table is a sheet; its first row names the columns, with a note to each that says what it holds, in which unit and sign.
Codes are lists to choose from, numbers and dates are held to their limits, ids are text, so that 0202 stays as it is written.
What is filled in loads without a mapping.
"""

from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any, Final

from shared.catalogue import Column, Table, catalogue
from shared.errors import UsageError
from shared.units import UNITS

_ROWS: Final = 5000
_NOTES: Final = "columns.txt"
_REQUIRED: Final = "FFE8EEF4"
_DATE, _TIME = "yyyy-mm-dd", "yyyy-mm-dd hh:mm"
# Code points that a list in a cell may hold in all, a bound of the file form.
_LIST: Final = 255


def write_workbook(path: Path) -> Path:
    """Writes the workbook. Raises UsageError where the file is there already or is not named .xlsx."""
    from openpyxl import Workbook

    if path.suffix.lower() != ".xlsx":
        raise UsageError(f"{path}: a template is an XLSX workbook. Name a file that ends in .xlsx, or a folder with --csv.")
    _require_free(path)
    book = Workbook()
    book.remove(book.active)
    for table in catalogue().values():
        _add_sheet(book, table)
    path.parent.mkdir(parents=True, exist_ok=True)
    book.save(path)
    return path


def write_csvs(folder: Path) -> list[Path]:
    """Writes a CSV a table with its first line, and beside them a text that explains the columns.

    Raises UsageError, with nothing written, where one of the files is there already.
    """
    texts = {f"{table.name}.csv": ",".join(table.column_names) + "\n" for table in catalogue().values()}
    texts[_NOTES] = "\n".join(_explained())
    for name in texts:
        _require_free(folder / name)
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in texts.items():
        (folder / name).write_text(text, encoding="utf-8", newline="")
    return [folder / name for name in texts]


def note_of(table: Table, column: Column) -> str:
    """What a column holds, in plain sentences."""
    words = [column.description]
    if column.required:
        words.append(
            "Every row needs it." if column.name not in table.key else "Every row needs it; it is part of the row's key."
        )
    if column.unit in UNITS:
        words.append(f"In {UNITS[column.unit].sign}.")
    if column.sign:
        words.append(f"Sign: {column.sign}.")
    if column.codes:
        words.append(f"One of {', '.join(column.codes)}.")
    elif column.type == "boolean":
        words.append("TRUE or FALSE.")
    elif column.type == "date":
        words.append("A date such as 2026-01-31.")
    elif column.minimum is not None and column.maximum is not None:
        words.append(f"From {column.minimum:g} to {column.maximum:g}.")
    return " ".join(words)


def _require_free(path: Path) -> None:
    if path.exists():
        raise UsageError(f"{path} is there already, and may be filled in. Nothing was written. Name another one.")


def _explained() -> Iterator[str]:
    for table in catalogue().values():
        yield f"{table.name}.csv: {table.description}"
        for column in table.columns:
            yield f"  {column.name}: {note_of(table, column)}"
        yield ""


def _add_sheet(book: Any, table: Table) -> None:
    from openpyxl.comments import Comment
    from openpyxl.styles import Font, PatternFill
    from openpyxl.utils import get_column_letter

    sheet = book.create_sheet(table.name)
    sheet.freeze_panes = "A2"
    for number, column in enumerate(table.columns, 1):
        letter = get_column_letter(number)
        cell = sheet.cell(1, number, column.name)
        cell.font = Font(bold=column.required)
        if column.required:
            cell.fill = PatternFill("solid", fgColor=_REQUIRED)
        cell.comment = Comment(note_of(table, column), "fitledger", height=150, width=320)
        sheet.column_dimensions[letter].width = max(12, len(column.name) + 3)
        sheet.column_dimensions[letter].number_format = _format_of(column)
        held = _validation(column)
        if held is not None:
            held.promptTitle = column.name[:32]
            held.prompt = note_of(table, column)[:_LIST]
            held.errorTitle, held.error = column.name[:32], note_of(table, column)[:_LIST]
            held.showErrorMessage = held.showInputMessage = True
            sheet.add_data_validation(held)
            held.add(f"{letter}2:{letter}{_ROWS + 1}")


def _format_of(column: Column) -> str:
    if column.type == "date":
        return _DATE
    if column.type == "datetime":
        return _TIME
    # An id is text: a number would lose its leading zeros.
    return "@" if column.type == "string" and not column.codes else "General"


def _validation(column: Column) -> Any:
    """What a cell of the column may hold; None where that is any text."""
    from openpyxl.worksheet.datavalidation import DataValidation

    if column.codes or column.type == "boolean":
        listed = ",".join(column.codes) if column.codes else "TRUE,FALSE"
        return DataValidation(type="list", formula1=f'"{listed}"', allow_blank=True)
    if column.type in {"date", "datetime"}:
        earliest = date.fromisoformat(str(column.minimum or "1990-01-01")[:10])
        return DataValidation(
            type="date",
            operator="greaterThanOrEqual",
            formula1=f"DATE({earliest.year},{earliest.month},{earliest.day})",
            allow_blank=True,
        )
    if column.type not in {"integer", "number"}:
        return None
    kind = "whole" if column.type == "integer" else "decimal"
    low, high = column.minimum, column.maximum
    if low is None and high is None:
        return DataValidation(type=kind, operator="between", formula1=-1_000_000, formula2=1_000_000, allow_blank=True)
    if high is None:
        return DataValidation(type=kind, operator="greaterThanOrEqual", formula1=low, allow_blank=True)
    return DataValidation(type=kind, operator="between", formula1=low, formula2=high, allow_blank=True)

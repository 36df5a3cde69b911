"""XLSX workbooks: one sheet a table, read by calamine from a copy that was counted and cleaned before.

Calamine lays a sheet out whole, empty cells included, so that its extent is measured on the XML first. A formula counts
as the value that was last computed for it; an error such as #N/A counts as that text, and its row is rejected.
"""

import re
import xml.etree.ElementTree as ET
import zipfile
from array import array
from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime, time, timedelta
from itertools import islice
from pathlib import Path
from typing import Any

import python_calamine

from etl import limits
from etl.archive import copy_xml
from etl.csv_form import checked_headers, joined_headings, write_cells
from etl.mapping import Form
from etl.shared_texts import weigh_shared_texts
from etl.source import Extent, RefusedFileError, Workbook

_DECLARES = re.compile(rb"<!\s*(?:DOCTYPE|ENTITY)", re.IGNORECASE)
_REFERENCE = re.compile(rb"""\br\s*=\s*["']([A-Za-z]{0,3})(\d{1,9})["']""")
_CELL = re.compile(rb"<(?:\w+:)?c[\s/>]")
_ROW = re.compile(rb"<(?:\w+:)?row[\s/>]")
_ERROR_TYPE = re.compile(rb"""(<(?:\w+:)?c\b[^<>]*?\bt\s*=\s*["'])e(["'])""")
_HOLLOW = re.compile(
    rb"(?:</(?:\w+:)?f>|<(?:\w+:)?f\b[^<>]*/>)\s*(?:<(?:\w+:)?v\s*/>|<(?:\w+:)?v>\s*</(?:\w+:)?v>)?\s*</(?:\w+:)?c>"
)
_PIECE = 8 * limits.CHUNK_BYTES
_NAMESPACE = "{http://schemas.openxmlformats.org/spreadsheetml/2006/main}"
_LINK = "{http://schemas.openxmlformats.org/officeDocument/2006/relationships}id"


def open_workbook(path: Path, name: str, scratch: Path) -> Workbook:
    """Cleans a workbook and lists its sheets. Raises RefusedFileError where it is broken or declares entities."""
    extents: dict[str, Extent] = {}

    def look(part: str, chunks: Iterator[bytes]) -> Iterator[bytes]:
        extent = extents.setdefault("/" + part.lower(), Extent())
        most = limits.PART_BYTES if _is_laid_out_whole(part) else limits.WORKBOOK_BYTES
        n_bytes = 0
        for piece in _pieces(chunks):
            n_bytes += len(piece)
            if n_bytes > most:
                raise RefusedFileError(
                    f"{name}: its part {part[:80]!r} holds more than any export needs. Nothing of it was loaded. Copy the "
                    "plain tables into a new workbook, or export them as CSV."
                )
            if _DECLARES.search(piece) or b"\x00" in piece:
                raise RefusedFileError(
                    f"{name}: its part {part[:80]!r} declares entities or is no plain XML. No spreadsheet program writes "
                    "that. Nothing of it was loaded. Export it again."
                )
            _measure(extent, piece)
            yield _ERROR_TYPE.sub(rb"\1str\2", piece)

    clean = copy_xml(path, name, scratch, look)
    weigh_shared_texts(clean, name)
    # Sheets that are larger by themselves are refused one by one where they are read.
    sizes = [extent.rows * extent.columns for extent in extents.values()]
    n_cells = sum(size for size in sizes if size <= limits.SHEET_CELLS)
    if n_cells > limits.WORKBOOK_CELLS:
        raise RefusedFileError(
            f"{name}: its sheets reach over {n_cells:,} cells together, expected {limits.WORKBOOK_CELLS:,} at most. Nothing "
            "of it was loaded. Delete their empty rows and columns, or export them as CSV."
        )
    with _opened(clean, name) as book:
        sheets = tuple(book.sheet_names)
    return Workbook(clean, name, sheets, _by_sheet(clean, extents))


def read_sheet(book: Workbook, sheet: str, name: str, scratch: Path, form: Form) -> tuple[Path, tuple[str, ...], Sequence[int]]:
    """One sheet as a CSV copy, its headers, and the row of the sheet that each record stands in.

    `form`: which rows of the sheet hold the names of the columns.
    """
    extent = book.extents.get(sheet, Extent())
    if extent.rows * extent.columns > limits.SHEET_CELLS:
        raise RefusedFileError(
            f"{name}: reaches over {extent.rows:,} rows and {extent.columns:,} columns, expected {limits.SHEET_CELLS:,} cells "
            "at most. Nothing of it was loaded. Delete the empty rows and columns, or export it as CSV."
        )
    if extent.is_hollow:
        raise RefusedFileError(
            f"{name}: holds a formula whose value was never computed. Nothing of it was loaded. Open it in a spreadsheet "
            "program, save it, and load again."
        )
    numbers: array[int] = array("q")
    with _opened(book.path, name) as opened:
        rows = (row for row in _rows(opened, sheet, name) if row[0] > form.skip_lines)
        headers = checked_headers(name, joined_headings([cells for _, cells in islice(rows, form.heading_rows)]))

        def cells() -> Iterator[Iterable[str]]:
            yield headers
            for number, row in rows:
                numbers.append(number)
                yield (*row, *[""] * (len(headers) - len(row)))

        return write_cells(cells(), name, scratch), headers, numbers


def as_text(value: Any) -> str:
    """A cell of a sheet as the text that the catalogue's types are read from."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        return repr(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)
    if isinstance(value, datetime):
        return value.isoformat() if value.time() != time() else value.date().isoformat()
    if isinstance(value, timedelta):
        return str(value)
    return value.isoformat() if hasattr(value, "isoformat") else str(value)


def _rows(opened: Any, sheet: str, name: str) -> Iterator[tuple[int, tuple[str, ...]]]:
    """The filled rows of a sheet with their numbers."""
    with _reading(name):
        for number, row in enumerate(opened.get_sheet_by_name(sheet).iter_rows(), 1):
            cells = tuple(as_text(value) for value in row)
            if any(cells):
                yield number, cells


class _reading:  # noqa: N801, it reads as a verb
    """Turns whatever the reader of sheets meets in a broken workbook into a refusal."""

    def __init__(self, name: str) -> None:
        self._name = name

    def __enter__(self) -> None:
        return None

    def __exit__(self, kind: type[BaseException] | None, fault: BaseException | None, trace: Any) -> None:
        # A panic of the Rust reader is no Exception, and its class cannot be imported.
        is_fault = isinstance(fault, python_calamine.CalamineError | ValueError | OSError)
        if is_fault or type(fault).__name__ == "PanicException":
            raise RefusedFileError(
                f"{self._name}: this is no XLSX workbook, or it is broken. Nothing of it was loaded. Export it again."
            ) from fault


def _opened(path: Path, name: str) -> Any:
    with _reading(name):
        return python_calamine.CalamineWorkbook.from_path(path)


def _pieces(chunks: Iterator[bytes]) -> Iterator[bytes]:
    """The same bytes, cut after the end of a row where there is one, so that no tag is cut in two."""
    held = b""
    for chunk in chunks:
        held += chunk
        cut = held.rfind(b"row>") + 4
        if cut < 4 and len(held) >= _PIECE:
            cut = held.rfind(b"<") if held.rfind(b"<") >= 4 else len(held)
        if cut >= 4:
            yield held[:cut]
            held = held[cut:]
    yield held


def _measure(extent: Extent, piece: bytes) -> None:
    references = _REFERENCE.findall(piece)
    n_rows = len(_ROW.findall(piece))
    # Cells and rows without a reference follow the one before.
    extent.rows = max(extent.rows + n_rows, max((int(number) for _, number in references), default=0))
    extent.columns = max(extent.columns, max((_column(letters) for letters, _ in set(references)), default=0))
    if sum(1 for letters, _ in references if letters) < len(_CELL.findall(piece)):
        extent.columns = max(extent.columns, *(len(_CELL.findall(row)) for row in _ROW.split(piece)))
    extent.is_hollow = extent.is_hollow or bool(_HOLLOW.search(piece))


def _is_laid_out_whole(part: str) -> bool:
    """Parts that a reader takes for a tree: an element of four bytes becomes one of some hundred."""
    name = part.lower()
    return name.endswith((".rels", "/workbook.xml", "/styles.xml", "[content_types].xml"))


def _column(letters: bytes) -> int:
    number = 0
    for letter in letters.upper():
        number = number * 26 + letter - 64
    return number


def _by_sheet(path: Path, extents: dict[str, Extent]) -> dict[str, Extent]:
    """The extent of each sheet; where the workbook does not tell its part, the largest of all."""
    largest = Extent(
        max((extent.rows for extent in extents.values()), default=0),
        max((extent.columns for extent in extents.values()), default=0),
        any(extent.is_hollow for extent in extents.values()),
    )
    with zipfile.ZipFile(path) as archive:
        names = {name.lower(): name for name in archive.namelist()}
        try:
            links = ET.fromstring(archive.read(names["xl/_rels/workbook.xml.rels"]))
            book = ET.fromstring(archive.read(names["xl/workbook.xml"]))
        except (KeyError, ET.ParseError):
            return {}
    targets = {link.get("Id"): link.get("Target", "") for link in links}
    extent_of = {}
    for sheet in book.iter(f"{_NAMESPACE}sheet"):
        target = targets.get(sheet.get(_LINK), "").lower()
        part = target if target.startswith("/") else f"/xl/{target}"
        extent_of[sheet.get("name", "")] = extents.get(part, largest)
    return extent_of

"""What must hold for any bytes whatever: a file is read whole, or refused with one sentence; nothing else escapes."""

import csv
import shutil
import tempfile
from pathlib import Path

from etl.mapping import parse_mapping
from etl.read import (
    FoundFile,
    RefusedFileError,
    expand,
    find_files,
    lines_of,
    lines_of_bytes,
    open_source,
    source_relation,
)
from etl.source import SourceFile
from etl.stage import records_of
from etl.together import Files
from shared.errors import UsageError
from shared.warehouse import Warehouse
from tests.spec.workbook import write_workbook


def read_anything(name: str, data: bytes, warehouse: Warehouse) -> int:
    """Reads bytes as a file of this name. Returns how many sources were read; 0 where it was refused."""
    folder = Path(tempfile.mkdtemp())
    try:
        path = folder / name
        path.write_bytes(data)
        return _read(find_files([path]), folder, warehouse)
    finally:
        shutil.rmtree(folder)


def map_anything(mapping: bytes, name: str, data: bytes, warehouse: Warehouse) -> int:
    """Reads a file through bytes taken for a mapping. Returns how many sources were read; 0 where something was refused."""
    folder = Path(tempfile.mkdtemp())
    try:
        try:
            parsed = parse_mapping(mapping, "m.toml")
        except UsageError as words:
            check_sentence(str(words))
            return 0
        path = folder / name
        path.write_bytes(data)
        return _read([FoundFile(path, name, mapping=parsed)], folder, warehouse)
    finally:
        shutil.rmtree(folder)


def sheet_anything(xml: str, warehouse: Warehouse) -> int:
    """Reads a workbook with this XML as the rows of its sheet. Returns 0 where it was refused."""
    folder = Path(tempfile.mkdtemp())
    try:
        path = write_workbook(folder / "book.xlsx", {"riders": xml})
        return _read(find_files([path]), folder, warehouse)
    finally:
        shutil.rmtree(folder)


def check_sentence(words: str) -> None:
    """A refusal is a sentence of bounded length."""
    assert words.endswith((".", ")")), words[-80:]
    assert len(words) < 20_000


def _read(found: list[FoundFile], folder: Path, warehouse: Warehouse) -> int:
    n_read = 0
    for part in expand(found, folder):
        try:
            source = open_source(part, folder, warehouse)
        except RefusedFileError as words:
            check_sentence(str(words))
            continue
        _check_rows(source, warehouse)
        n_read += 1
    return n_read


def _check_rows(source: SourceFile, warehouse: Warehouse) -> None:
    """Every record can be staged, and every record has a line of its own, in order."""
    forget_ragged(warehouse)
    relation, parameters = source_relation(source, source.table.column_names, whole=True)
    rows = warehouse.rows(relation, parameters)
    n_records = len(rows)
    ragged: set[int] = set()
    if source.form == ".csv":
        positions = warehouse.rows("SELECT DISTINCT line_byte_position FROM ragged_rows ORDER BY line_byte_position")
        ragged = set(lines_of_bytes(source.readable_path, [row["line_byte_position"] for row in positions]))
    records = records_of(warehouse, Files({0: source}, source)).get(0, [])
    assert len(records) == n_records
    lines = lines_of(source, set(records), ragged)
    assert set(lines) == set(records), (source.form, n_records, sorted(lines)[-3:], ragged)
    numbers = [lines[record] for record in records]
    assert numbers == sorted(numbers)
    if source.form == ".csv" and source.table_mapping is None:
        _check_cells(source, rows, numbers)


def _check_cells(source: SourceFile, rows: list[dict[str, object]], numbers: list[int]) -> None:
    """Each row holds the cells of its own line, as another reader of CSV sees them."""
    seen = {}
    with source.readable_path.open(encoding="utf-8-sig", newline="") as text:
        reader = csv.reader(text, delimiter=source.separator, skipinitialspace=True)
        start = 1
        for cells in reader:
            seen[start] = cells
            start = reader.line_num + 1
    for row, number in zip(rows, numbers, strict=True):
        for name, index in source.cells.items():
            if name in source.table.column_names:
                assert row[f"x_{name}"] == (seen[number][index].strip(" \t") or None), (number, name, row, seen[number])


def forget_ragged(warehouse: Warehouse) -> None:
    """Each reading keeps its own ragged rows."""
    for table in ("ragged_rows", "ragged_scans", "log_ragged_rows", "log_ragged_scans"):
        warehouse.run(f"DROP TABLE IF EXISTS {table}")

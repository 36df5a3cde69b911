"""Finds the files of an export, detects their form, and gives each one as text cells under the catalogue's names.

Nothing is guessed about units or signs; a file that cannot be used is refused with one sentence, and no other file.
"""

import codecs
import csv
import difflib
import gzip
import io
import re
import tempfile
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any

from shared.catalogue import Table, catalogue
from shared.errors import InputUnusableError, UsageError
from shared.warehouse import Warehouse

SEPARATORS = (",", ";", "\t")
READABLE = (".csv", ".csv.gz", ".parquet")
# Known data forms that are told rather than passed over.
ANNOUNCED = (*READABLE, ".xlsx", ".xls", ".jsonl", ".json", ".zip")
# Told only where the name is a table's: such files are often notes.
_MAYBE = (".tsv", ".txt")
# What `fitledger rejects` writes beside a rejected row; `reject_no` tells the loader which reject a mended row was.
REJECT_NO = "reject_no"
REJECT_COLUMNS = (REJECT_NO, "rule", "column", "words")
_CHUNK = 1 << 20


class RefusedFileError(InputUnusableError):
    """One file cannot be used; the others go on."""


@dataclass(frozen=True)
class SourceFile:
    """A file that can be read: `cells` maps each catalogue column to the file's own column (position or name)."""

    path: Path
    name: str
    table: Table
    form: str
    headers: tuple[str, ...]
    cells: dict[str, int]
    unknown: tuple[str, ...]
    readable_path: Path
    encoding: str = ""
    separator: str = ""

    @property
    def detected(self) -> str:
        """What was detected, as the load report tells it."""
        if self.form == ".parquet":
            return "Parquet"
        shown = "tab" if self.separator == "\t" else self.separator
        return f"encoding: {self.encoding}, separator '{shown}'"


@dataclass(frozen=True)
class FoundFile:
    """A file of the input before it was opened."""

    path: Path
    name: str


def find_files(paths: Iterable[Path]) -> list[FoundFile]:
    """Every data file named or in a named folder, in the order of their names.

    Raises UsageError where a path does not exist.
    """
    found: list[FoundFile] = []
    for path in paths:
        if path.is_dir():
            inside = sorted(file for file in path.rglob("*") if file.is_file() and _is_export(file.name))
            found += [FoundFile(file, file.relative_to(path).as_posix()) for file in inside]
        elif path.exists():
            found.append(FoundFile(path, path.name))
        else:
            raise UsageError(f"{path}: no such file or folder. Name a folder of exports, or files of it.")
    return found


def open_source(file: FoundFile, scratch: Path, warehouse: Warehouse) -> SourceFile:
    """Detects form, encoding, separator and columns of one file.

    `scratch` takes a UTF-8 copy where the file is written in another encoding.
    Raises RefusedFileError with the sentence that tells why the file cannot be used.
    """
    form = _form(file.name, READABLE)
    table = _table_of(file.name)
    if table is None:
        names = ", ".join(catalogue())
        raise RefusedFileError(
            f"{file.name}: its name is none of the tables'. Expected one of {names}, alone or followed by -, _ or . "
            "and anything. Rename the file and load again."
        )
    if form is None:
        raise RefusedFileError(
            f"{file.name}: this form of file is not read. Expected {', '.join(READABLE)}. Export it in one of these forms."
        )
    try:
        if form == ".parquet":
            return _parquet_source(file, table, warehouse)
        return _csv_source(file, table, form, scratch)
    except OSError as fault:
        raise RefusedFileError(
            f"{file.name}: cannot be read ({fault.strerror or fault}). Check the file and its rights."
        ) from fault


def source_relation(
    source: SourceFile, text_columns: Iterable[str], *, whole: bool = False
) -> tuple[str, dict[str, Any]]:
    """SQL that gives the file's rows in their order, each asked column as text `x_<column>`, and its parameters.

    With `whole`, the column `received` holds the row as received, as JSON text.
    """
    if source.form == ".parquet":
        cell = {index: f'CAST("{_doubled(name)}" AS VARCHAR)' for index, name in enumerate(source.headers)}
        relation = "read_parquet($path)"
    else:
        cell = {index: f"c{index}" for index in range(len(source.headers))}
        columns = ", ".join(f"'c{index}': 'VARCHAR'" for index in range(len(source.headers)))
        relation = (
            "read_csv($path, header = true, auto_detect = false, delim = $separator, quote = '\"', escape = '\"', "
            f"columns = {{{columns}}}, ignore_errors = true, store_rejects = true, null_padding = false, "
            "rejects_table = 'ragged_rows', rejects_scan = 'ragged_scans', rejects_limit = 0)"
        )
    picked = [
        f"nullif(trim({cell[source.cells[name]]}, ' \t'), '') AS \"x_{name}\""
        if name in source.cells
        else f'CAST(NULL AS VARCHAR) AS "x_{name}"'
        for name in text_columns
    ]
    if whole:
        pairs = ", ".join(
            f"'{name.replace(chr(39), chr(39) * 2)}', {cell[index]}" for index, name in enumerate(source.headers)
        )
        picked.append(f"CAST(json_object({pairs}) AS VARCHAR) AS received")
    return f"SELECT {', '.join(picked)} FROM {relation}", {
        "path": str(source.readable_path),
        "separator": source.separator,
    }


def physical_lines(source: SourceFile, records: list[int], ragged_starts: set[int]) -> dict[int, int]:
    """The file's own line number (header is 1) at which each record (1, 2, …) starts; for Parquet the record itself.

    `ragged_starts` are the lines of records that the reader set aside and did not number.
    """
    wanted = set(records)
    if source.form == ".parquet" or not wanted:
        return {record: record for record in wanted}
    lines: dict[int, int] = {}
    with source.readable_path.open(encoding="utf-8-sig", newline="") as text:
        number, start = -1, 1
        reader = csv.reader(text, delimiter=source.separator)
        for cells in reader:
            if cells and start not in ragged_starts:
                number += 1
                if number in wanted:
                    lines[number] = start
            start = reader.line_num + 1
    return lines


def line_of_byte(source: SourceFile, position: int) -> int:
    """The line on which a byte of a CSV file stands."""
    with source.readable_path.open("rb") as file:
        return file.read(position).count(b"\n") + 1


def _is_export(name: str) -> bool:
    return bool(_form(name, ANNOUNCED) or (_form(name, _MAYBE) and _table_of(name)))


def _form(name: str, forms: tuple[str, ...]) -> str | None:
    lower = name.lower()
    return next((form for form in forms if lower.endswith(form)), None)


def _table_of(name: str) -> Table | None:
    stem = name.rpartition("/")[2].lower()
    for table in catalogue().values():
        if re.match(rf"{table.name}(?:[-_.]|$)", stem):
            return table
    return None


def _parquet_source(file: FoundFile, table: Table, warehouse: Warehouse) -> SourceFile:
    try:
        described = warehouse.rows("DESCRIBE SELECT * FROM read_parquet($path)", {"path": str(file.path)})
    except Exception as fault:
        if type(fault).__module__.partition(".")[0] not in {"duckdb", "_duckdb", "shared"}:
            raise
        raise RefusedFileError(f"{file.name}: this is no Parquet file, or it is broken. Export it again.") from fault
    headers = tuple(row["column_name"] for row in described)
    cells, unknown = _match(file, table, headers)
    return SourceFile(file.path, file.name, table, ".parquet", headers, cells, unknown, file.path)


def _csv_source(file: FoundFile, table: Table, form: str, scratch: Path) -> SourceFile:
    encoding = _encoding(file)
    readable = file.path
    if encoding not in {"utf-8", "utf-8-sig"} or form == ".csv.gz":
        readable = _as_utf8(file, encoding, scratch)
    with readable.open(encoding="utf-8-sig", newline="") as text:
        first = text.readline(_CHUNK)
        separator = max(SEPARATORS, key=first.count)
        text.seek(0)
        headers = tuple(cell.strip() for cell in next(csv.reader(text, delimiter=separator), []))
    if not any(headers):
        raise RefusedFileError(
            f"{file.name}: empty. Expected a first line with the names of the columns. Export it again."
        )
    cells, unknown = _match(file, table, headers)
    return SourceFile(
        file.path, file.name, table, ".csv", headers, cells, unknown, readable, encoding.removesuffix("-sig"), separator
    )


def _match(file: FoundFile, table: Table, headers: tuple[str, ...]) -> tuple[dict[str, int], tuple[str, ...]]:
    cells: dict[str, int] = {}
    unknown: list[str] = []
    is_mended = REJECT_NO in {header.strip().lower() for header in headers}
    for index, header in enumerate(headers):
        name = header.strip().lower()
        if name in cells:
            raise RefusedFileError(
                f"{file.name}: the column {name} stands twice in the first line. Leave one of them out."
            )
        if name in table.column_names or (is_mended and name == REJECT_NO):
            cells[name] = index
        elif is_mended and name in REJECT_COLUMNS:
            continue
        elif header.strip():
            unknown.append(header.strip())
    missing = [column.name for column in table.columns if column.required and column.name not in cells]
    if missing:
        raise RefusedFileError(_missing_words(file, table, missing, unknown))
    return cells, tuple(unknown)


def _missing_words(file: FoundFile, table: Table, missing: list[str], unknown: list[str]) -> str:
    near = {name: difflib.get_close_matches(name, unknown, n=1, cutoff=0.6) for name in missing}
    hints = [f"{found[0]} may be {name}" for name, found in near.items() if found]
    return (
        f"{file.name}: the required column{'s' if len(missing) > 1 else ''} {', '.join(missing)} of table {table.name} "
        f"{'are' if len(missing) > 1 else 'is'} missing. "
        + (f"Found instead: {', '.join(unknown)}{' (' + '; '.join(hints) + ')' if hints else ''}. " if unknown else "")
        + "Nothing of this file was loaded. Add or rename the column and load again."
    )


def _encoding(file: FoundFile) -> str:
    with _opened(file.path) as raw:
        start = raw.read(4)
    if start.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return "utf-16"
    if start[1:2] == b"\x00" or start[:1] == b"\x00":
        return "utf-16-le" if start[1:2] == b"\x00" else "utf-16-be"
    decoder = codecs.getincrementaldecoder("utf-8")()
    try:
        with _opened(file.path) as raw:
            for chunk in iter(lambda: raw.read(_CHUNK), b""):
                decoder.decode(chunk)
            decoder.decode(b"", final=True)
    except UnicodeDecodeError:
        return "windows-1252"
    return "utf-8-sig" if start.startswith(codecs.BOM_UTF8) else "utf-8"


def _as_utf8(file: FoundFile, encoding: str, scratch: Path) -> Path:
    """A UTF-8 copy, since the set-based reader takes that encoding only; bytes that the encoding does not know stay marked."""
    with (
        tempfile.NamedTemporaryFile(dir=scratch, suffix=".csv", delete=False) as copy,
        _opened(file.path) as raw,
        io.TextIOWrapper(raw, encoding=encoding, errors="replace", newline="") as text,
    ):
        for chunk in iter(lambda: text.read(_CHUNK), ""):
            copy.write(chunk.encode("utf-8"))
        return Path(copy.name)


def _opened(path: Path) -> IO[bytes]:
    return gzip.open(path, "rb") if path.name.lower().endswith(".gz") else path.open("rb")  # type: ignore[return-value]


def _doubled(name: str) -> str:
    return name.replace('"', '""')

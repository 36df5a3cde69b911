"""Parquet files: read by the warehouse itself; broken pages and absurd sizes are found before a row is staged."""

import re
from collections.abc import Iterator
from contextlib import contextmanager

from etl import limits
from etl.archive import Budget
from etl.csv_form import checked_headers
from etl.relation import source_relation
from etl.source import FoundFile, RefusedFileError, SourceFile, require_rows
from shared.errors import WarehouseError
from shared.paths import on_one_line, pattern_of
from shared.warehouse import Warehouse

_NESTED = re.compile(r"\]$|^(?:STRUCT|MAP|UNION)\b")


def parquet_headers(file: FoundFile, warehouse: Warehouse) -> tuple[str, ...]:
    """The names of the columns. Raises RefusedFileError where this is no Parquet file or one of absurd size."""
    path = {"path": pattern_of(file.content)}
    with _refusing(file.name):
        # From the footer alone: no page is read before what it claims was held against the size of the file.
        n_rows = int(warehouse.value("SELECT coalesce(sum(num_rows), 0) FROM parquet_file_metadata($path)", path))
        n_unpacked = int(warehouse.value("SELECT coalesce(sum(total_uncompressed_size), 0) FROM parquet_metadata($path)", path))
    require_rows(file.name, n_rows, file.reading)
    size = file.content.stat().st_size
    most = max(limits.PARQUET_FREE_ROWS, limits.PARQUET_ROWS_A_BYTE * size)
    if n_rows > most:
        raise RefusedFileError(
            f"{file.name}: tells of {n_rows:,} rows in {size:,} bytes, expected {most:,} rows at most: no table whose rows "
            "differ in their keys packs so small. Nothing of this file was loaded. Export it again."
        )
    Budget(file.name, size, file.reading.most_bytes_per_file).spend(n_unpacked)
    with _refusing(file.name):
        described = warehouse.rows("DESCRIBE SELECT * FROM read_parquet($path, hive_partitioning = false)", path)
    headers = checked_headers(file.name, tuple(row["column_name"].strip() for row in described))
    _weigh(file, [row["column_type"] for row in described], headers, warehouse)
    return headers


def _weigh(file: FoundFile, types: list[str], headers: tuple[str, ...], warehouse: Warehouse) -> None:
    """Refuses lists within a cell, and texts that are long together: one text may stand for every row, packed only once."""
    if nested := [name for name, kind in zip(headers, types, strict=True) if _NESTED.search(kind)]:
        raise RefusedFileError(
            f"{file.name}, {on_one_line(nested[0])!r}: found values within a value, expected a plain one. Nothing of this file "
            "was loaded. Export flat records, one column a value."
        )
    lengths = {"VARCHAR": "strlen", "BLOB": "octet_length"}
    texts = [f"{lengths[kind]}(c{index})" for index, kind in enumerate(types) if kind in lengths]
    if not texts:
        return
    names = ", ".join(f"c{index}" for index in range(len(types)))
    given = f"read_parquet($path, hive_partitioning = false) AS given({names})"
    sums = f"coalesce(sum({' + '.join(f'coalesce({text}, 0)' for text in texts)}), 0) AS whole"
    longest = f"coalesce(max(greatest({', '.join(texts)})), 0) AS longest"
    with _refusing(file.name):
        (weight,) = warehouse.rows(f"SELECT {sums}, {longest} FROM {given}", {"path": pattern_of(file.content)})
    if weight["longest"] > limits.LINE_BYTES:
        raise RefusedFileError(
            f"{file.name}: found a text of {weight['longest']:,} bytes, expected {limits.LINE_BYTES:,} at most. Nothing of "
            "this file was loaded. Export it again."
        )
    Budget(file.name, file.content.stat().st_size, file.reading.most_bytes_per_file).spend(int(weight["whole"]))


def check_parquet(source: SourceFile, warehouse: Warehouse) -> None:
    """Reads every cell that will be needed once. Raises RefusedFileError where a page is broken or a text holds NUL."""
    names = tuple(source.table.column_names)
    relation, parameters = source_relation(source, names)
    counted = ", ".join(f'count(*) FILTER (contains("x_{name}", chr(0))) AS "{name}"' for name in names)
    with _refusing(source.name):
        (n_bad,) = warehouse.rows(f"SELECT {counted} FROM ({relation})", parameters)
    if bad := [name for name, n in n_bad.items() if n]:
        raise RefusedFileError(
            f"{source.name}: found NUL characters in {', '.join(bad)}, expected text. Nothing of this file was loaded. "
            "Export it again."
        )


@contextmanager
def _refusing(name: str) -> Iterator[None]:
    """Turns what the warehouse says of a broken file into a refusal; only the file is read here, so it is at fault."""
    try:
        yield
    except Exception as fault:
        if not isinstance(fault, WarehouseError) and type(fault).__module__.partition(".")[0] not in {"duckdb", "_duckdb"}:
            raise
        raise RefusedFileError(f"{name}: this is no Parquet file, or it is broken. Export it again.") from fault

"""Parquet files: read by the warehouse itself; broken pages and absurd sizes are found before a row is staged."""

from collections.abc import Iterator
from contextlib import contextmanager

from etl import limits
from etl.csv_form import checked_headers
from etl.relation import source_relation
from etl.source import FoundFile, RefusedFileError, SourceFile
from shared.errors import WarehouseError
from shared.warehouse import Warehouse


def parquet_headers(file: FoundFile, warehouse: Warehouse) -> tuple[str, ...]:
    """The names of the columns. Raises RefusedFileError where this is no Parquet file or one of absurd size."""
    path = {"path": str(file.content)}
    with _refusing(file.name):
        n_rows = warehouse.value("SELECT sum(num_rows) FROM parquet_file_metadata($path)", path)
        described = warehouse.rows("DESCRIBE SELECT * FROM read_parquet($path)", path)
    if n_rows > limits.PARQUET_ROWS:
        raise RefusedFileError(
            f"{file.name}: tells of {n_rows:,} rows, expected {limits.PARQUET_ROWS:,} at most. Nothing of this file was "
            "loaded. Export it in parts."
        )
    return checked_headers(file.name, tuple(row["column_name"].strip() for row in described))


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

"""Writes tables of an open warehouse as CSV and Parquet."""

from pathlib import Path
from typing import Any, Final

import pandas as pd

from dashboard.export.descriptor import Resource, mart_resource, result_resource, type_of
from dashboard.questions.selection.answers import RUNS_AS_FORMULA
from dashboard.questions.selection.scope import fragments, scope_of
from dashboard.questions.selection.selection import Selection
from shared.paths import quoted_path
from shared.settings import Settings
from shared.warehouse import Warehouse

SQL: Final = Path(__file__).with_name("sql")
MARTS: Final = ("fits", "knees", "captures")
_FRAME_TYPES: Final = {str: "string", int: "Int64", float: "Float64", bool: "boolean"}
_SQL_TYPES: Final = {
    "string": "VARCHAR",
    "integer": "BIGINT",
    "number": "DOUBLE",
    "boolean": "BOOLEAN",
    "date": "DATE",
    "datetime": "TIMESTAMP",
}


def make_marts(warehouse: Warehouse, selection: Selection, settings: Settings) -> None:
    """Makes out_fits, out_knees and out_captures of the selection. Raises TooFewError where it is empty."""
    scope = scope_of(warehouse, selection, settings)
    scope.require_fits()
    for name in MARTS:
        warehouse.run(SQL / f"{name}.sql", scope.parameters, **fragments())


def write_marts(warehouse: Warehouse, folder: Path) -> list[Resource]:
    """Writes out_fits, out_knees and out_captures."""
    resources = []
    for name in MARTS:
        columns = [(row["column_name"], row["column_type"]) for row in warehouse.rows(f"DESCRIBE out_{name}")]
        resource = mart_resource(name, columns)
        write_table(warehouse, f"out_{name}", resource, folder)
        resources.append(resource)
    return resources


def write_groups(warehouse: Warehouse, name: str, frame: pd.DataFrame, folder: Path) -> Resource:
    """Writes a table of groups of riders."""
    warehouse.put("out_groups", frame)
    columns = [(row["column_name"], row["column_type"]) for row in warehouse.rows("DESCRIBE out_groups")]
    resource = mart_resource(name, columns)
    write_table(warehouse, "out_groups", resource, folder)
    return resource


def write_result(
    warehouse: Warehouse,
    question: str,
    rows_name: str,
    row: type,
    folder: Path,
    rows: list[Any],
    without: tuple[str, ...] = (),
) -> Resource:
    """Writes one list of an answer, of which `rows` are given out, and all columns but those of `without`."""
    resource = result_resource(question, rows_name, row, without)
    names = [field["name"] for field in resource.fields]
    frame = pd.DataFrame({name: _column(type_of(row, name), [getattr(one, name) for one in rows]) for name in names})
    warehouse.put("out_rows", frame)
    write_table(warehouse, "out_rows", resource, folder)
    return resource


def _column(kind: type, values: list[Any]) -> "pd.Series[Any]":
    dtype = _FRAME_TYPES.get(kind)
    return pd.Series(values, dtype=dtype) if dtype else pd.to_datetime(pd.Series(values, dtype="object"))


def write_table(warehouse: Warehouse, table: str, resource: Resource, folder: Path) -> None:
    """Writes a table twice: Parquet as it is, CSV by RFC 4180 with texts that a spreadsheet would run made harmless."""
    casts, cells = [], []
    for field in resource.fields:
        name, kind = field["name"], _SQL_TYPES[field["type"]]
        casts.append(f'"{name}"::{kind} AS "{name}"')
        cells.append(_harmless(name) if kind == "VARCHAR" else casts[-1])
    for form, columns, options in (
        ("parquet", casts, "FORMAT parquet, COMPRESSION zstd"),
        ("csv", cells, "FORMAT csv, HEADER, DATEFORMAT '%Y-%m-%d', TIMESTAMPFORMAT '%Y-%m-%dT%H:%M:%S'"),
    ):
        path = quoted_path(folder / f"{resource.name}.{form}")
        warehouse.run(f"COPY (SELECT {', '.join(columns)} FROM {table}) TO {path} ({options})")


def _harmless(name: str) -> str:
    pattern, number = (text.replace("'", "''") for text in RUNS_AS_FORMULA)
    text = f'"{name}"::VARCHAR'
    is_formula = f"regexp_matches({text}, '^{pattern}') AND NOT regexp_full_match({text}, '{number}')"
    return f"CASE WHEN {is_formula} THEN '''' || {text} ELSE {text} END AS \"{name}\""

"""Describes the exported files as a data package, so that another tool knows every column, key, unit and digest.

Source: Frictionless Data Package and Table Schema, version 1 (the standard that the studio's own exports follow).
"""

import dataclasses
import hashlib
import inspect
import json
import types
import typing
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from functools import lru_cache
from pathlib import Path
from typing import Any, Final

import shared.catalogue
from shared.catalogue import catalogue

_MARTS: Final = Path(shared.catalogue.__file__).with_name("marts.json")
# Python's types of a row, and DuckDB's of a table, as Table Schema names them.
_TYPES: Final = {
    str: "string",
    int: "integer",
    float: "number",
    bool: "boolean",
    date: "date",
    datetime: "datetime",
    "VARCHAR": "string",
    "TINYINT": "integer",
    "SMALLINT": "integer",
    "INTEGER": "integer",
    "BIGINT": "integer",
    "DOUBLE": "number",
    "BOOLEAN": "boolean",
    "DATE": "date",
    "TIMESTAMP": "datetime",
}
_SUFFIXES: Final = {"_deg": "deg", "_mm": "mm", "_days": "days"}


@dataclass(frozen=True)
class Resource:
    """One exported table: its name, which is that of its two files, what it is, its fields and its key."""

    name: str
    description: str
    fields: tuple[dict[str, Any], ...]
    key: tuple[str, ...] = ()


@lru_cache(maxsize=1)
def _marts() -> dict[str, Any]:
    described: dict[str, Any] = json.loads(_MARTS.read_text(encoding="utf-8"))
    return described


@lru_cache(maxsize=1)
def _core_columns() -> dict[str, Any]:
    return {column.name: column for table in reversed(catalogue().values()) for column in table.columns}


def mart_resource(name: str, columns: Iterable[tuple[str, str]]) -> Resource:
    """A mart by the names and DuckDB types of its columns; each is described by the catalogue, or else by marts.json."""
    mart = _marts()[name]
    return Resource(
        name,
        mart["description"],
        tuple(_mart_field(column, kind, mart["columns"]) for column, kind in columns),
        tuple(mart["key"]),
    )


def _mart_field(name: str, kind: str, derived: dict[str, Any]) -> dict[str, Any]:
    described = derived.get(name, {})
    core = _core_columns().get(described.get("like", name))
    if not described and core is None:
        raise KeyError(f"{name}: described neither in the catalogue nor in marts.json")
    field = {"name": name, "type": _TYPES[kind]}
    if core:
        field |= {"description": core.description, "unit": core.unit, "sign": core.sign}
    field |= {key: described[key] for key in ("description", "unit") if key in described}
    return {key: value for key, value in field.items() if value}


def result_resource(question: str, rows_name: str, row: type, without: tuple[str, ...] = ()) -> Resource:
    """A list of an answer by the class of its rows; their docstring says what they hold."""
    return Resource(
        f"{question}-{rows_name.replace('_', '-')}",
        " ".join((inspect.getdoc(row) or "").split()),
        tuple(
            _row_field(field.name, type_of(row, field.name)) for field in dataclasses.fields(row) if field.name not in without
        ),
    )


def _row_field(name: str, kind: type) -> dict[str, Any]:
    unit = next((unit for suffix, unit in _SUFFIXES.items() if name.endswith(suffix)), None)
    return {"name": name, "type": _TYPES[kind]} | ({"unit": unit} if unit else {})


def type_of(row: type, name: str) -> type:
    """The type of a row's field, without None."""
    kind = typing.get_type_hints(row)[name]
    if isinstance(kind, types.UnionType):
        kind = next(part for part in kind.__args__ if part is not type(None))
    return typing.cast(type, kind)


def write_descriptor(folder: Path, resources: Iterable[Resource], *, title: str, about: dict[str, Any]) -> None:
    """Writes datapackage.json: each table as CSV by Table Schema, its Parquet twin named beside it."""
    package = {
        "profile": "data-package",
        "name": "fitledger-export",
        "title": title,
        **about,
        "resources": [_described(folder, resource) for resource in resources],
    }
    (folder / "datapackage.json").write_text(json.dumps(package, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")


def _described(folder: Path, resource: Resource) -> dict[str, Any]:
    path = folder / f"{resource.name}.csv"
    schema: dict[str, Any] = {"fields": list(resource.fields), "missingValues": [""]}
    if resource.key:
        schema["primaryKey"] = list(resource.key)
    return {
        "profile": "tabular-data-resource",
        "name": resource.name,
        "path": path.name,
        "description": resource.description,
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "bytes": path.stat().st_size,
        "hash": f"sha256:{_digest(path)}",
        "parquet": {"path": f"{resource.name}.parquet", "hash": f"sha256:{_digest(path.with_suffix('.parquet'))}"},
        "schema": schema,
    }


def _digest(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()

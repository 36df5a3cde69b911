"""Reads datapackage.json, the one place where a table or a column is described."""

import json
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

DATAPACKAGE = Path(__file__).with_name("datapackage.json")

# Table Schema's types as the warehouse stores them.
SQL_TYPES = {
    "string": "VARCHAR",
    "integer": "INTEGER",
    "number": "DOUBLE",
    "date": "DATE",
    "datetime": "TIMESTAMP",
    "boolean": "BOOLEAN",
}


@dataclass(frozen=True)
class Column:
    """One column: `latest` names what a date or year may not lie after (load_date or load_year). `empty_counts`: an empty cell
    is a value of its own, and not only unknown."""

    name: str
    type: str
    description: str
    required: bool
    codes: tuple[str, ...]
    minimum: float | str | None
    maximum: float | str | None
    latest: str | None
    unit: str | None
    sign: str | None
    true_values: tuple[str, ...]
    false_values: tuple[str, ...]
    empty_counts: bool = False

    @property
    def sql_type(self) -> str:
        return SQL_TYPES[self.type]


@dataclass(frozen=True)
class ForeignKey:
    """A column whose value must be a key of another table."""

    column: str
    table: str
    target: str


@dataclass(frozen=True)
class RowRule:
    """A rule between columns of one row: any_of, required_when or not_before."""

    rule: str
    kind: str
    columns: tuple[str, ...]
    column: str
    when_column: str | None
    when_value: str | None
    other_column: str | None


@dataclass(frozen=True)
class Table:
    """One table with its columns in published order, its key and its rules."""

    name: str
    description: str
    columns: tuple[Column, ...]
    key: tuple[str, ...]
    foreign_keys: tuple[ForeignKey, ...]
    row_rules: tuple[RowRule, ...]

    @property
    def column_names(self) -> tuple[str, ...]:
        return tuple(column.name for column in self.columns)

    def column(self, name: str) -> Column:
        return next(column for column in self.columns if column.name == name)


@lru_cache(maxsize=1)
def catalogue() -> dict[str, Table]:
    """Every table by name, parents before the tables that refer to them."""
    package = json.loads(DATAPACKAGE.read_text(encoding="utf-8"))
    return {resource["name"]: _table(resource) for resource in package["resources"]}


def _table(resource: dict[str, Any]) -> Table:
    schema = resource["schema"]
    return Table(
        name=resource["name"],
        description=resource["description"],
        columns=tuple(_column(field, schema["primaryKey"]) for field in schema["fields"]),
        key=tuple(schema["primaryKey"]),
        foreign_keys=tuple(
            ForeignKey(key["fields"], key["reference"]["resource"], key["reference"]["fields"])
            for key in schema.get("foreignKeys", [])
        ),
        row_rules=tuple(_row_rule(rule) for rule in resource.get("rowRules", [])),
    )


def _column(field: dict[str, Any], key: list[str]) -> Column:
    limits = field.get("constraints", {})
    return Column(
        name=field["name"],
        type=field["type"],
        description=field["description"],
        required=bool(limits.get("required")) or field["name"] in key,
        codes=tuple(limits.get("enum", [])),
        minimum=limits.get("minimum"),
        maximum=limits.get("maximum"),
        latest=field.get("latest"),
        unit=field.get("unit"),
        sign=field.get("sign"),
        true_values=tuple(field.get("trueValues", [])),
        false_values=tuple(field.get("falseValues", [])),
        empty_counts=bool(field.get("emptyCounts")),
    )


def _row_rule(rule: dict[str, Any]) -> RowRule:
    columns = tuple(rule.get("columns", [rule.get("column")]))
    return RowRule(
        rule=rule["rule"],
        kind=rule["kind"],
        columns=columns,
        column=columns[0],
        when_column=rule.get("when_column"),
        when_value=rule.get("when_value"),
        other_column=rule.get("other_column"),
    )

"""Tables that a statement reads and makes, and what each mart and core table is made from, found by building them empty."""

from collections import defaultdict
from collections.abc import Iterable
from functools import cache
from pathlib import Path
from typing import Any, Final

import sqlglot
from sqlglot import exp

from etl import mart, merge
from etl.core import build_core
from shared.catalogue import catalogue
from shared.ran import Ran, noting
from shared.warehouse import WAREHOUSE_VERSION, in_memory

ROOT: Final = Path(__file__).parents[2]
_SCHEMAS: Final = ("raw", "core", "mart", "demo")


def named(file: Path) -> str:
    """A file of the program by its path within it."""
    return file.relative_to(ROOT).as_posix()


def tables_read(text: str) -> frozenset[str]:
    """The tables of the warehouse that statements read, as schema.table."""
    return frozenset(name for statement in _parsed(text) for name in _tables(statement) - {_made(statement)} if name)


@cache
def _parsed(text: str) -> tuple[Any, ...]:
    return tuple(statement for statement in sqlglot.parse(text, dialect="duckdb") if statement)


def _tables(statement: Any) -> set[str]:
    return {f"{table.db}.{table.name}" for table in statement.find_all(exp.Table) if table.db in _SCHEMAS}


def _made(statement: Any) -> str:
    """The table or view that a statement makes or adds to; nothing where it only reads."""
    if not isinstance(statement, exp.Create | exp.Insert):
        return ""
    target = statement.this.find(exp.Table)
    return f"{target.db}.{target.name}" if target is not None and target.db in _SCHEMAS else ""


@cache
def made_from() -> dict[str, tuple[frozenset[str], str]]:
    """Of each mart and core table: the tables that it is made from, and the file that makes it."""
    warehouse = in_memory()
    try:
        merge.make_tables(warehouse, WAREHOUSE_VERSION)
        with noting() as ran:
            for table in catalogue().values():
                build_core(warehouse, table)
            mart.build(warehouse)
    finally:
        warehouse.close()
    return _edges(ran)


def _edges(ran: Iterable[Ran]) -> dict[str, tuple[frozenset[str], str]]:
    found: dict[str, set[str]] = defaultdict(set)
    by: dict[str, str] = {}
    for file, text in sorted(ran):
        for statement in _parsed(text):
            if name := _made(statement):
                found[name] |= _tables(statement) - {name}
                by.setdefault(name, named(file))
    return {name: (frozenset(inputs), by[name]) for name, inputs in found.items()}


def with_inputs(names: Iterable[str]) -> dict[str, frozenset[str]]:
    """The tables named and all that they are made from, each with what it is made from itself."""
    known, found, left = made_from(), dict[str, frozenset[str]](), list(names)
    while left:
        name = left.pop()
        if name not in found:
            found[name] = known.get(name, (frozenset(), ""))[0]
            left += found[name]
    return dict(sorted(found.items()))

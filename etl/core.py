"""Brings core up to what a load brought: the rows that it can have changed are taken out and made anew, and no others.

One statement makes a table whole or a part of it (build.sql). A load on a small warehouse, an undone load, forgetting and an
older file make everything anew: `part` is None there.
"""

from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from shared.catalogue import Table
from shared.warehouse import Warehouse, quoted

SQL = Path(__file__).with_name("sql") / "core"
SESSIONS: Final = "fit_sessions"
# With fewer fits all is made anew in less time than the statements of a part take.
LEAST_FITS = 1_000
# Where more of the fits are touched, all is made anew in less time than rows are looked for and taken out.
MOST_TOUCHED = 0.2


@dataclass
class Part:
    """What one load touched: for each table in `tables` the temporary tables of touched.sql and turned.sql are there."""

    load_id: int
    n_fits: int
    tables: list[str] = field(default_factory=list)

    def is_small(self, n_touched: int) -> bool:
        """Whether so many fits, or ids, are few enough for a part."""
        return n_touched <= MOST_TOUCHED * self.n_fits


def part_of(warehouse: Warehouse, load_id: int) -> Part | None:
    """What a load will have touched, before it touches anything; None where all is made anew."""
    n_fits = int(warehouse.value(f'SELECT count(*) FROM core."{SESSIONS}"'))
    is_built = warehouse.value(
        "SELECT count(*) FROM information_schema.tables WHERE table_schema = 'mart' AND table_name = 'ratings'"
    )
    return Part(load_id, n_fits) if n_fits >= LEAST_FITS and is_built else None


def build_core(warehouse: Warehouse, table: Table, part: Part | None = None) -> None:
    """Makes core.<table> of the current rows whose references name something: whole, or what a load touched of it."""
    if part is None:
        _make(warehouse, table, f'CREATE OR REPLACE TABLE core."{table.name}" AS', "true")
        return
    own = _names_of(table)
    warehouse.run(SQL / "touched.sql", {"load_id": part.load_id}, **own, of_parents=_of_parents(table, part))
    warehouse.run(SQL / "stood.sql", None, **own)
    if part.is_small(warehouse.value(f"SELECT count(*) FROM touched_{table.name}")):
        warehouse.run(SQL / "take_out.sql", None, **own)
        is_touched = f'version."{table.key[0]}" IN (SELECT id FROM touched_{table.name})'
        _make(warehouse, table, f'INSERT INTO core."{table.name}" BY NAME', is_touched)
    else:
        _make(warehouse, table, f'CREATE OR REPLACE TABLE core."{table.name}" AS', "true")
    warehouse.run(SQL / "turned.sql", None, **own)
    part.tables.append(table.name)


def _make(warehouse: Warehouse, table: Table, make: str, is_in_part: str) -> None:
    # A required reference is a plain semi join; one that may be empty is not.
    required = [key for key in table.foreign_keys if table.column(key.column).required]
    resolved = "".join(
        f" AND {resolves(key.column, key.table, key.target)}" for key in table.foreign_keys if key not in required
    )
    named = " ".join(
        f'SEMI JOIN core."{key.table}" AS parent{number} ON parent{number}."{key.target}" = version."{key.column}"'
        for number, key in enumerate(required)
    )
    warehouse.run(
        SQL / "build.sql",
        make=make,
        table=table.name,
        columns=quoted(table.column_names),
        key=quoted(table.key),
        named=named,
        resolved=resolved,
        is_in_part=is_in_part,
    )


def _names_of(table: Table) -> dict[str, str]:
    session = 'core."session_id"' if "session_id" in table.column_names else "CAST(NULL AS VARCHAR)"
    return {"table": table.name, "id": table.key[0], "session": session}


def _of_parents(table: Table, part: Part) -> str:
    """SQL of the rows whose parents came or went with this load."""
    statement = (SQL / "touched_by_parent.sql").read_text(encoding="utf-8")
    return "".join(
        statement.format(table=table.name, id=table.key[0], column=key.column, parent=key.table)
        for key in table.foreign_keys
        if key.table in part.tables
    )


def resolves(column: str, table: str, target: str) -> str:
    """SQL that is true where a version's reference is empty or names a row of core."""
    return (
        f'(version."{column}" IS NULL OR EXISTS '
        f'(SELECT 1 FROM core."{table}" AS parent WHERE parent."{target}" = version."{column}"))'
    )

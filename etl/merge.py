"""From staged rows to raw versions and core tables, in sets. Every function runs one named SQL file on one table."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from etl.core import SESSIONS, resolves
from etl.read import SourceFile
from etl.stage import add_finding, make_faulty, set_lines, typed_columns
from etl.together import Group, as_one, groups_of
from shared.catalogue import Table, catalogue
from shared.warehouse import LoadingWarehouse, Warehouse, quoted

SQL = Path(__file__).with_name("sql")


def make_tables(warehouse: Warehouse, version: int) -> None:
    """The ledger and one raw and core table for each table of the catalogue, where they are missing."""
    warehouse.run(SQL / "raw/schema.sql")
    if warehouse.value("SELECT count(*) FROM raw.warehouse") == 0:
        warehouse.run("INSERT INTO raw.warehouse VALUES ($version)", {"version": version})
    for table in catalogue().values():
        columns = typed_columns(table)
        warehouse.run(SQL / "raw/table.sql", table=table.name, columns=columns, key=", ".join(table.key))
        warehouse.run(f'CREATE TABLE IF NOT EXISTS core."{table.name}" ({columns})')


def decide_fates(warehouse: Warehouse, table: Table) -> dict[str, int]:
    """Makes fates_<table>; returns how many rows each fate has."""
    key = quoted(table.key)
    # Counting hashes is several times cheaper than grouping; the same hash twice is only a reason to look closer.
    has_repeats = warehouse.value(f"SELECT count(*) > count(DISTINCT hash({key})) FROM staged_{table.name} WHERE is_sound")
    is_first = warehouse.value(f'SELECT count(*) = 0 FROM raw."{table.name}"')
    if is_first and not has_repeats:
        warehouse.run(SQL / "raw/fates_first.sql", table=table.name)
    else:
        warehouse.run(
            SQL / "raw/repeated.sql",
            table=table.name,
            key=key,
            columns=quoted(table.column_names),
            has_repeats=str(has_repeats).lower(),
        )
        warehouse.run(
            SQL / "raw/fates.sql",
            table=table.name,
            same_content=same_content(table, "staged", "earlier"),
            same_key_as_repeated=same_key(table, "repeated", "staged"),
            same_key_as_earlier=same_key(table, "earlier", "staged"),
        )
    rows = warehouse.rows(f"SELECT fate, count(*) AS n FROM fates_{table.name} GROUP BY fate")
    return {row["fate"]: row["n"] for row in rows}


def add_versions(warehouse: Warehouse, table: Table, load_id: int, fates: dict[str, int]) -> None:
    """Stores new rows and replaces changed ones; the earlier versions stay. Notes the rows that brought nothing new."""
    values = {"load_id": load_id}
    names = {"table": table.name, "columns": quoted(table.column_names)}
    if fates.get("replaced"):
        earlier = same_key(table, "earlier", "staged")
        warehouse.run(SQL / "raw/supersede.sql", values, table=table.name, same_key_as_earlier=earlier)
    if fates.get("stored") or fates.get("replaced"):
        sql = "raw/add_first_versions.sql" if set(fates) == {"stored"} else "raw/add_versions.sql"
        warehouse.run(SQL / sql, values, **names, staged_columns=quoted(table.column_names, "staged."))
    if fates.get("unchanged"):
        version = same_key(table, "version", "staged")
        warehouse.run(SQL / "raw/add_sightings.sql", values, table=table.name, same_key=version)


def list_unresolved(warehouse: Warehouse, table: Table) -> int:
    """Makes unresolved_<table>: the current rows that core leaves out, with the reference that names nothing.

    Returns how many there are.
    """
    failing = [(key, f"NOT {resolves(key.column, key.table, key.target)}") for key in table.foreign_keys]
    # A missing rider or fitter comes first: such a row does not only wait for a session.
    failing.sort(key=lambda pair: pair[0].table == SESSIONS)

    def case(values: list[str]) -> str:
        branches = "".join(f" WHEN {test} THEN {value}" for (_, test), value in zip(failing, values, strict=True))
        return f"CASE{branches} END" if failing else "NULL"

    n_current = warehouse.value(f'SELECT count(*) FROM raw."{table.name}" WHERE superseded_by IS NULL')
    n_left_out = int(n_current - warehouse.value(f'SELECT count(*) FROM core."{table.name}"'))
    warehouse.run(
        SQL / "core/unresolved.sql",
        table=table.name,
        key=quoted(table.key, "version."),
        column_name=case([f"'{key.column}'" for key, _ in failing]),
        value=case([f'CAST(version."{key.column}" AS VARCHAR)' for key, _ in failing]),
        is_waiting=case([str(key.table == SESSIONS).lower() for key, _ in failing]),
        same_key=same_key(table, "resolved", "version"),
        is_left_out=str(n_left_out > 0).lower(),
    )
    warehouse.run(SQL / "raw/add_unresolved.sql", table=table.name, row_key=row_key(table, "unresolved."))
    return n_left_out


def final_fates(warehouse: Warehouse, table: Table) -> list[dict[str, Any]]:
    """Rows of file_no, final_fate and n of one table."""
    return warehouse.rows(SQL / "raw/counts.sql", table=table.name, same_key=same_key(table, "unresolved", "staged"))


def plain_fates(warehouse: Warehouse, table: Table) -> list[dict[str, Any]]:
    """The same where core leaves no row out."""
    counted = f"SELECT file_no, fate AS final_fate, count(*) AS n FROM fates_{table.name} GROUP BY ALL"
    return warehouse.rows(counted)


def find_duplicates(warehouse: LoadingWarehouse, sources: Mapping[int, SourceFile]) -> None:
    """Adds a finding for each row whose key stands again in this load with other content."""
    for group in groups_of(sources):
        table = _table_of(group)
        key = " + ".join(table.key)
        after = (
            f", expected one row only: the same {key} stands again in this load with other content, so none of its rows is "
            "stored. Leave the wrong one out and load again."
        )
        _find_fate(warehouse, group, "duplicate_key", table.key[0], "fates.fate = 'duplicate'", after)


def find_orphans(warehouse: LoadingWarehouse, sources: Mapping[int, SourceFile]) -> None:
    """Adds a finding for each row that names a rider or fitter who is not there."""
    for group in groups_of(sources):
        for key in _table_of(group).foreign_keys:
            if key.table != SESSIONS:
                condition = (
                    f"unresolved.is_waiting = false AND unresolved.column_name = '{key.column}' AND fates.fate <> 'duplicate'"
                )
                _find_fate(warehouse, group, "orphan", key.column, condition, orphan_words(key.target, key.table))


def orphan_words(target: str, parent: str) -> str:
    """What follows the found value in an orphan's sentence."""
    return (
        f", expected the {target} of a row in {parent}. Load that row, and this one is taken in by itself; or correct the id."
    )


def _find_fate(warehouse: LoadingWarehouse, group: Group, rule: str, column: str, condition: str, after: str) -> None:
    table = _table_of(group)
    others = f"INNER JOIN fates_{table.name} AS fates ON fates.staged_row = staged.rowid"
    if rule == "orphan":
        others += f" LEFT JOIN unresolved_{table.name} AS unresolved ON {same_key(table, 'unresolved', 'staged')}"
    found = f"SELECT DISTINCT staged.file_no FROM staged_{table.name} AS staged {others} WHERE {condition}"
    of_fate = {row["file_no"] for row in warehouse.rows(found)}
    if some := {file_no: source for file_no, source in group.items() if file_no in of_fate}:
        with as_one(some, warehouse.scratch) as files:
            make_faulty(warehouse, files, condition, others)
        add_finding(warehouse, table, rule, column, "true", f"{column}: found ", after)
        set_lines(warehouse, some)


def _table_of(group: Group) -> Table:
    return next(iter(group.values())).table


def same_key(table: Table, left: str, right: str) -> str:
    """SQL that is true where two aliases stand for the same row."""
    return " AND ".join(f'{left}."{name}" = {right}."{name}"' for name in table.key)


def same_content(table: Table, left: str, right: str) -> str:
    """SQL that is true where two rows of one key agree in every other column."""
    others = [name for name in table.column_names if name not in table.key]
    return " AND ".join(f'{left}."{name}" IS NOT DISTINCT FROM {right}."{name}"' for name in others) or "true"


def row_key(table: Table, prefix: str) -> str:
    """SQL of a row's key as one text."""
    return "concat_ws('|', " + ", ".join(f'CAST({prefix}"{name}" AS VARCHAR)' for name in table.key) + ")"

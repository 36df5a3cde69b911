"""What became of one row over the loads, and taking a load back."""

from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from etl import mart, merge, rejects, warn
from etl.calls_closed import reopen_calls
from etl.core import build_core
from etl.rejects import LINE_OF_VERSION
from shared.catalogue import Table, catalogue
from shared.errors import UsageError
from shared.settings import Settings
from shared.warehouse import LoadingWarehouse, Warehouse, open_loading, open_reading, quoted

SQL = Path(__file__).with_name("sql")


@dataclass(frozen=True)
class Undone:
    """What undoing a load took back: how many files, how many versions of rows; `calls`: what it reopened, in words."""

    load_id: int
    files: int
    versions: int
    calls: str = ""


def history(path: Path, table_name: str, key: str) -> list[dict[str, Any]]:
    """Every version of one row, the first one first, with its load, time, file and line.

    `key` holds the parts of the row's key, parted by commas. Raises UsageError for an unknown table or key.
    """
    table = catalogue().get(table_name)
    if table is None:
        raise UsageError(f"{table_name!r} is no table; expected one of {', '.join(catalogue())}.")
    parts = [part.strip() for part in key.split(",")]
    if len(parts) != len(table.key):
        raise UsageError(
            f"{key!r}: found {len(parts)} parts, expected the key of {table_name}: {', '.join(table.key)}, parted by commas."
        )
    warehouse = open_reading(path)
    try:
        rows = warehouse.rows(
            SQL / "raw/history.sql",
            {f"key_{name}": part for name, part in zip(table.key, parts, strict=True)},
            table=table.name,
            columns=quoted(table.column_names, "version."),
            line=LINE_OF_VERSION,
            same_key=" AND ".join(f'CAST(version."{name}" AS VARCHAR) = $key_{name}' for name in table.key),
        )
    finally:
        warehouse.close()
    if not rows:
        raise UsageError(f"{key}: no row of {table_name} has this key. Keys are {', '.join(table.key)}, as exported.")
    return rows


@dataclass(frozen=True)
class Foreseen:
    """What taking a load back would do to one table: rows that only this load brought go, others get what they were."""

    table: str
    versions: int
    gone: int


def foresee(path: Path, load_id: int) -> list[Foreseen]:
    """What `undo` would do, for each table that the load brought versions of; nothing is written.

    Raises UsageError where there is no such load to undo.
    """
    warehouse = open_reading(path)
    try:
        _require_standing(warehouse, path, load_id)
        foreseen = []
        for table in catalogue().values():
            names = {"table": table.name, "same_key": merge.same_key(table, "version", "other")}
            row = warehouse.rows(SQL / "undo/foreseen.sql", {"undone": load_id}, **names)[0]
            foreseen.append(Foreseen(table.name, row["versions"], row["gone"]))
    finally:
        warehouse.close()
    return [row for row in foreseen if row.versions]


def undo(path: Path, load_id: int, *, settings: Settings | None = None, wait_seconds: float = 0) -> Undone:
    """Takes a load back whole: the warehouse becomes what it were had that load never been.

    Loads that came later keep what they brought, also where it was the same as what is taken back.
    Raises UsageError where there is no such load to undo.
    """
    open_reading(path).close()
    with open_loading(path, wait_seconds=wait_seconds) as warehouse:
        _require_standing(warehouse, path, load_id)
        values = {"undone": load_id}
        n_files = warehouse.value("SELECT count(*) FROM raw.files WHERE load_id = $undone", values)
        n_versions = sum(_take_back(warehouse, table, load_id) for table in catalogue().values())
        now = datetime.now(UTC).replace(tzinfo=None, microsecond=0)
        warehouse.run(SQL / "undo/forget.sql", {**values, "now": now})
        for table in catalogue().values():
            build_core(warehouse, table)
            merge.list_unresolved(warehouse, table)
            rejects.release(warehouse, table, load_id, since=0)
        mart.build(warehouse)
        warn.build(warehouse, settings or Settings())
    return Undone(load_id, n_files, n_versions, reopen_calls(path, load_id))


def _require_standing(warehouse: Warehouse, path: Path, load_id: int) -> None:
    standing = [row["load_id"] for row in warehouse.rows("SELECT load_id FROM raw.loads WHERE undone_at IS NULL ORDER BY 1")]
    if load_id not in standing:
        held = ", ".join(map(str, standing)) or "none"
        raise UsageError(f"{path}: there is no load {load_id} to undo. Loads that stand: {held}. Nothing was changed.")


def _take_back(warehouse: LoadingWarehouse, table: Table, load_id: int) -> int:
    values = {"undone": load_id}
    n = int(warehouse.value(f'SELECT count(*) FROM raw."{table.name}" WHERE load_id = $undone', values))
    if not n:
        warehouse.run('DELETE FROM raw.sightings WHERE load_id = $undone AND "table" = $table', {**values, "table": table.name})
        return 0
    names = {
        "table": table.name,
        "key": quoted(table.key),
        "columns": quoted(table.column_names),
        "version_columns": quoted(table.column_names, "version."),
        "content": quoted(table.column_names),
        "same_key_as_touched": merge.same_key(table, "touched", "version"),
        "same_key_as_version": merge.same_key(table, "version", "again"),
    }
    warehouse.run(SQL / "undo/events.sql", values, **names)
    warehouse.run(SQL / "undo/relink.sql", values, **names)
    return n

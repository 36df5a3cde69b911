"""Brings a warehouse of an earlier version up to this program's: raw versions and ledger are kept, the rest is made anew.

A version needs a step here only where the raw schema cannot be read as it was. Whatever follows from raw (core, marts,
warnings) is dropped and built again by every migration, so that a new mart needs no more than a higher WAREHOUSE_VERSION.
"""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from etl import merge
from etl.keeping.rebuild import rebuild
from shared.catalogue import catalogue
from shared.settings import Settings
from shared.warehouse import WAREHOUSE_VERSION, LoadingWarehouse, open_loading, open_reading, read_sql
from shared.warehouse_version import version_of

SQL = Path(__file__).parents[1] / "sql"


@dataclass(frozen=True)
class Migrated:
    """From which version to which; they are the same where nothing was to do."""

    earlier: int
    present: int


def bring_up_to_date(
    path: Path,
    settings: Settings | None = None,
    *,
    wait_seconds: float = 0,
    on_wait: Callable[[int], None] | None = None,
) -> Migrated:
    """Migrates the warehouse at `path`, all or nothing; does nothing where there is none or it is of this version.

    Raises WarehouseError where it is no warehouse or of a newer version.
    """
    if not path.exists() or not is_older(path):
        return Migrated(WAREHOUSE_VERSION, WAREHOUSE_VERSION)
    with open_loading(path, wait_seconds=wait_seconds, on_wait=on_wait, may_be_older=True) as warehouse:
        # Asked again, since another program may have migrated it while this one waited.
        earlier = version_of(warehouse, path)
        if earlier == WAREHOUSE_VERSION:
            warehouse.leave_unchanged()
        else:
            _migrate(warehouse, earlier, settings or Settings())
    return Migrated(earlier, WAREHOUSE_VERSION)


def is_older(path: Path) -> bool:
    """Whether the warehouse at `path` is of an earlier version."""
    warehouse = open_reading(path, may_be_older=True)
    try:
        return version_of(warehouse, path) < WAREHOUSE_VERSION
    finally:
        warehouse.close()


def _migrate(warehouse: LoadingWarehouse, earlier: int, settings: Settings) -> None:
    _drop_what_follows(warehouse)
    for version in range(earlier, WAREHOUSE_VERSION):
        if step := STEPS.get(version):
            step(warehouse)
    merge.make_tables(warehouse, WAREHOUSE_VERSION)
    _add_columns(warehouse)
    warehouse.run("UPDATE raw.warehouse SET version = $version", {"version": WAREHOUSE_VERSION})
    rebuild(warehouse, settings)


def _drop_what_follows(warehouse: LoadingWarehouse) -> None:
    """Views first, since a mart may have been a table in one version and a view in another."""
    views = "SELECT schema_name, view_name AS name FROM duckdb_views() WHERE schema_name IN ('raw', 'core', 'mart')"
    for row in warehouse.rows(views):
        warehouse.run(f'DROP VIEW "{row["schema_name"]}"."{row["name"]}"')
    tables = "SELECT schema_name, table_name AS name FROM duckdb_tables() WHERE schema_name IN ('core', 'mart')"
    for row in warehouse.rows(tables):
        warehouse.run(f'DROP TABLE "{row["schema_name"]}"."{row["name"]}"')


def _add_columns(warehouse: LoadingWarehouse) -> None:
    """Columns that the catalogue has gained since: empty in the rows that were loaded before."""
    for table in catalogue().values():
        for column in table.columns:
            warehouse.run(f'ALTER TABLE raw."{table.name}" ADD COLUMN IF NOT EXISTS "{column.name}" {column.sql_type}')


def _from_1(warehouse: LoadingWarehouse) -> None:
    warehouse.run(SQL / "keeping/from_1.sql", schema=read_sql(SQL / "raw/schema.sql"))
    for table in catalogue().values():
        # Cells in the form that this version gives them, so that the same broken row is known when it comes again.
        cells = ", ".join(f"'{name}', json_extract_string(received, '$.\"{name}\"')" for name in table.column_names)
        update = f"UPDATE raw.findings SET cells = CAST(json_object({cells}) AS VARCHAR)"
        warehouse.run(f"{update} WHERE \"table\" = $table AND rule <> 'cells'", {"table": table.name})


def _from_4(warehouse: LoadingWarehouse) -> None:
    """By which mapping rejected rows were read was not kept: such a folder is read anew when it is loaded again."""
    warehouse.run(SQL / "keeping/from_4.sql")


def _from_5(warehouse: LoadingWarehouse) -> None:
    """Of every finding the whole row was rejected: a folder with findings is read anew when it is loaded again."""
    warehouse.run(SQL / "keeping/from_5.sql")


# By the version that a step begins with.
STEPS: dict[int, Callable[[LoadingWarehouse], None]] = {1: _from_1, 4: _from_4, 5: _from_5}

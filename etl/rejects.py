"""Rejected rows: kept from load to load, released when they are mended."""

from etl.merge import SQL, row_key
from shared.catalogue import Table
from shared.warehouse import Warehouse


def keep_mended(warehouse: Warehouse, table: Table, load_id: int) -> None:
    """Notes which rejects the staged rows of one table bring again."""
    warehouse.run(SQL / "raw/keep_mended.sql", {"load_id": load_id}, table=table.name)


def keep_findings(warehouse: Warehouse, load_id: int) -> int:
    """Keeps every finding of this load; returns how many are new to the warehouse."""
    if not warehouse.value("SELECT count(*) FROM found"):
        return 0
    warehouse.run(SQL / "raw/known_findings.sql")
    warehouse.run(SQL / "raw/keep_findings.sql", {"load_id": load_id})
    return int(warehouse.value("SELECT count(*) FROM numbered_findings WHERE NOT is_known"))


def release(warehouse: Warehouse, table: Table, load_id: int, since: int) -> int:
    """Releases the rejects of one table that loads since `since` have mended, and orphans whose parent has come.

    Returns how many findings this load released.
    """
    if not warehouse.value('SELECT count(*) FROM raw.findings WHERE "table" = $table', {"table": table.name}):
        return 0
    version_key = row_key(table, "version.")
    warehouse.run(SQL / "raw/release.sql", {"since": since}, table=table.name, row_key=version_key)
    warehouse.run(SQL / "raw/release_orphans.sql", {"load_id": load_id}, table=table.name)
    released = "SELECT count(*) FROM raw.findings WHERE released_by = $load_id"
    return int(warehouse.value(released, {"load_id": load_id}))

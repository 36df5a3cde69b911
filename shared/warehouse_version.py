"""The version that a warehouse file says it has, and what is told of one that this program does not read."""

from pathlib import Path
from typing import TYPE_CHECKING

from shared.errors import WarehouseError

if TYPE_CHECKING:
    from shared.warehouse import Warehouse

# Raise it with every change of a table or mart: an older file is migrated (etl/keeping/migrate.py), its marts built anew.
WAREHOUSE_VERSION = 4


def version_of(warehouse: "Warehouse", path: Path) -> int:
    """The version that an open file says it has. Raises WarehouseError where it says none."""
    known = "SELECT count(*) FROM information_schema.tables WHERE table_schema = 'raw' AND table_name = 'warehouse'"
    if not warehouse.value(known):
        raise WarehouseError(
            f"{path}: a DuckDB file, but no fitledger warehouse: its version table is missing. Name another file "
            "with --warehouse, or load the exports into a new one."
        )
    return int(warehouse.value("SELECT version FROM raw.warehouse"))


def check_version(warehouse: "Warehouse", path: Path, may_be_older: bool) -> None:
    version = version_of(warehouse, path)
    if version > WAREHOUSE_VERSION:
        raise WarehouseError(
            f"{path}: found warehouse version {version}, expected {WAREHOUSE_VERSION} or older: a newer fitledger wrote this "
            "file. Update this fitledger, or load the exports into a new file."
        )
    if version < WAREHOUSE_VERSION and not may_be_older:
        raise WarehouseError(
            f"{path}: found warehouse version {version}, expected {WAREHOUSE_VERSION}: an earlier fitledger wrote this file. "
            f"Run fitledger migrate --warehouse {path} (the next load does it too); every row and load is kept."
        )

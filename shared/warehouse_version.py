"""Which version of fitledger's tables an open warehouse holds, and whether it may be read."""

from pathlib import Path
from typing import Any, Protocol

from shared.errors import WarehouseError


class _Asked(Protocol):
    def value(self, sql: str) -> Any: ...


def version_of(warehouse: _Asked, path: Path) -> int:
    """The version that an open file says it has. Raises WarehouseError where it says none."""
    known = "SELECT count(*) FROM information_schema.tables WHERE table_schema = 'raw' AND table_name = 'warehouse'"
    if not warehouse.value(known):
        raise WarehouseError(
            f"{path}: a DuckDB file, but no fitledger warehouse: its version table is missing. Name another file "
            "with --warehouse, or load the exports into a new one."
        )
    return int(warehouse.value("SELECT version FROM raw.warehouse"))


def check_version(warehouse: _Asked, path: Path, expected: int, *, may_be_older: bool) -> None:
    """Raises WarehouseError where an open warehouse is newer than `expected`, or older and must not be."""
    version = version_of(warehouse, path)
    if version > expected:
        raise WarehouseError(
            f"{path}: found warehouse version {version}, expected {expected} or older: a newer fitledger wrote this "
            "file. Update this fitledger, or load the exports into a new file."
        )
    if version < expected and not may_be_older:
        raise WarehouseError(
            f"{path}: found warehouse version {version}, expected {expected}: an earlier fitledger wrote this file. "
            f"Run fitledger migrate --warehouse {path} (the next load does it too); every row and load is kept."
        )

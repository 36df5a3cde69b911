"""The invented demo: a scenario, its simulator, the exports it writes, and the warehouse built from them."""

from pathlib import Path

from shared.errors import WarehouseError
from shared.warehouse import open_reading

HOME = Path(__file__).parent
EXPORTS = HOME / "exports"
WAREHOUSE = HOME / "demo.duckdb"


def is_current() -> bool:
    """Whether the demo warehouse is there, of this program's version, and not older than any of its exports."""
    try:
        open_reading(WAREHOUSE).close()
    except WarehouseError:
        return False
    newest = max((file.stat().st_mtime for file in EXPORTS.iterdir()), default=0.0)
    return WAREHOUSE.stat().st_mtime >= newest

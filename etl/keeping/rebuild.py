"""Makes anew all that follows from the raw versions: core, what waits, rejects that stand, marts, warnings."""

from etl import mart, merge, rejects, warn
from etl.core import build_core
from shared.catalogue import catalogue
from shared.settings import Settings
from shared.warehouse import LoadingWarehouse


def rebuild(warehouse: LoadingWarehouse, settings: Settings) -> None:
    """Core, marts and warnings as a load would have left them on these versions and findings."""
    warehouse.limit_memory(settings.reading.loading_memory_mb)
    last = warehouse.value("SELECT coalesce(max(load_id), 0) FROM raw.loads")
    for table in catalogue().values():
        build_core(warehouse, table)
        merge.list_unresolved(warehouse, table)
        rejects.release(warehouse, table, last, since=0)
    mart.build(warehouse)
    warn.build(warehouse, settings)

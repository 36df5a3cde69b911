"""The values of a column as both the warnings and what a load asks look at them: counted, by studio and kind."""

from pathlib import Path
from typing import Final

from shared.catalogue import Table
from shared.warehouse import Warehouse

_SQL: Final = Path(__file__).with_name("sql") / "running_values.sql"


def names_by_studio(warehouse: Warehouse, table: Table) -> dict[str, str]:
    """Where a row of a table has its `studio` from, and the join with `sessions` that this takes; with one studio, none."""
    if warehouse.value("SELECT count(DISTINCT studio_id) > 1 FROM core.fit_sessions"):
        if "studio_id" in table.column_names:
            return {"studio": "source.studio_id", "sessions": ""}
        if "session_id" in table.column_names:
            join = "INNER JOIN core.fit_sessions AS sessions ON sessions.session_id = source.session_id"
            return {"studio": "sessions.studio_id", "sessions": join}
    return {"studio": "''", "sessions": ""}


def run_up(warehouse: Warehouse, table: Table, column: str, kind: str, names: dict[str, str]) -> None:
    """Makes running_values of one column; `kind` as SQL, `names` as those by studio."""
    warehouse.run(_SQL, None, table=table.name, column=column, kind=kind, **names)

"""Soft warnings on what core holds: told and stored, never a reason to reject. They follow from core and the settings
alone, so that the order of loads does not matter, and are made anew by each load that changes core."""

from pathlib import Path

from etl.merge import row_key
from etl.report import WarningGroup
from etl.running_values import names_by_studio, run_up
from shared.catalogue import Column, Table, catalogue
from shared.row_words import example_words
from shared.settings import Settings
from shared.warehouse import Warehouse, quoted

SQL = Path(__file__).with_name("sql") / "warn"
# Values are compared with those of their own kind: the height of a saddle says nothing on the reach of a handlebar.
_KINDS = {"bike_measures": ("measure",), "rider_ratings": ("topic", "body_part")}


def build(warehouse: Warehouse, settings: Settings) -> list[WarningGroup]:
    """Makes raw.warnings anew; returns those that were not there before, grouped."""
    warehouse.run(
        'CREATE OR REPLACE TEMP TABLE earlier_warnings AS SELECT rule, "table", "column", row_key, value FROM raw.warnings'
    )
    warehouse.run("DELETE FROM raw.warnings")
    limits = settings.parameters()
    for name in ("no_exam", "no_departure_bike", "knee_jump"):
        warehouse.run(SQL / f"{name}.sql", limits)
    for table in catalogue().values():
        if warehouse.value(f'SELECT count(*) FROM core."{table.name}"') < settings.warnings.spread_values:
            continue
        names = names_by_studio(warehouse, table)
        for column in table.columns:
            if column.type in {"integer", "number"} and column.name not in table.key:
                _far_values(warehouse, table, column, limits, names)
    groups = [
        WarningGroup(**{**row, "examples": example_words(row["table"], row["examples"])})
        for row in warehouse.rows(SQL / "new_groups.sql")
    ]
    warehouse.run("DROP TABLE earlier_warnings")
    return groups


def _far_values(warehouse: Warehouse, table: Table, column: Column, limits: dict[str, object], names: dict[str, str]) -> None:
    kind = f"concat_ws('|', {quoted(_KINDS[table.name], 'source.')})" if table.name in _KINDS else "''"
    run_up(warehouse, table, column.name, kind, names)
    warehouse.run(SQL / "spread.sql", limits)
    far = "SELECT count(*) FROM spread WHERE largest > $warnings_spread_sigmas * sigma"
    if warehouse.value(far, limits):
        session_id = "source.session_id" if "session_id" in table.column_names else "CAST(NULL AS VARCHAR)"
        told = {"table": table.name, "column": column.name, "row_key": row_key(table, "source."), "session_id": session_id}
        warehouse.run(SQL / "far_value.sql", limits, **names, **told, kind=kind)

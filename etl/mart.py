"""Builds the marts: wide tables of stated grain, what questions read. Facts only; classes that depend on a setting are
made where they are asked for.

Those that grow with captures and fits are made in parts, so that a step holds as much for ten million captures as for one: a
join that nearly fits into memory would else be refused where a larger one is spilled in time.
"""

from pathlib import Path

from shared.memory import LEAST_BYTES
from shared.warehouse import Warehouse

SQL = Path(__file__).with_name("sql") / "mart"
MARTS = ("fit_numbers", "capture_facts", "feet", "fits", "captures", "knees", "ratings")
# The column by which each is made in parts, and which of its inputs tells where they end: a row in so many.
_IN_PARTS = {
    "capture_facts": ("session_id", "core.knee_captures"),
    "feet": ("fit_no", "mart.fit_numbers"),
    "fits": ("fit_no", "mart.fit_numbers"),
}
# The names of the inputs that are narrowed to a part, as each statement calls them.
_NARROWED = ("captures", "setups", "numbers", "facts", "repeats", "feet_left", "feet_right")
# What a row of a part takes in its joins, measured (300 bytes of a capture), with room for what runs beside.
_BYTES_A_ROW = 1_200
_LEAST_ROWS = 20_000


def build(warehouse: Warehouse) -> None:
    """Rebuilds every mart from core, in an order in which each finds its inputs."""
    memory = warehouse.memory.n_bytes if warehouse.memory else LEAST_BYTES
    for name in MARTS:
        if name in _IN_PARTS:
            _build_in_parts(warehouse, name, max(memory // _BYTES_A_ROW, _LEAST_ROWS))
        else:
            warehouse.run(SQL / f"{name}.sql")


def _build_in_parts(warehouse: Warehouse, name: str, n_rows: int) -> None:
    column, source = _IN_PARTS[name]
    # The inputs are sorted by the column; wherever a part ends, it ends between two sessions.
    ends = f'SELECT DISTINCT "{column}" AS place FROM {source} WHERE rowid % $n_rows = $n_rows - 1 ORDER BY place'
    places = [row["place"] for row in warehouse.rows(ends, {"n_rows": n_rows})]
    for number, (low, high) in enumerate(zip([None, *places], [*places, None], strict=True)):
        tests = [test for value, test in ((low, ">= $low"), (high, "< $high")) if value is not None]
        part = {of: " AND ".join(f'{of}."{column}" {test}' for test in tests) or "true" for of in _NARROWED}
        make = f"INSERT INTO mart.{name}" if number else f"CREATE OR REPLACE TABLE mart.{name} AS"
        warehouse.run(SQL / f"{name}.sql", {"low": low, "high": high}, make=make, **part)

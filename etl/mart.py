"""Builds the marts: wide tables of stated grain, what questions read. Facts only; classes that depend on a setting are
made where they are asked for.

Those that grow with captures and fits are made in parts, so that a step holds as much for ten million captures as for one: a
join that nearly fits into memory would else be refused where a larger one is spilled in time. By the same statements, what a
load touched of them is made anew and no more (`Part`).
"""

from pathlib import Path

from etl.core import Part
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


def build(warehouse: Warehouse, part: Part | None = None) -> None:
    """Makes every mart from core, in an order in which each finds its inputs: anew, or what a load touched of it."""
    memory = warehouse.memory.n_bytes if warehouse.memory else LEAST_BYTES
    n_rows = max(memory // _BYTES_A_ROW, _LEAST_ROWS)
    made_anew = set(MARTS) - _kept(warehouse, part)
    for name in MARTS[1:]:
        if name not in _IN_PARTS:
            warehouse.run(SQL / f"{name}.sql")
        elif name in made_anew:
            _build_in_parts(warehouse, name, n_rows, f"CREATE OR REPLACE TABLE mart.{name} AS", "true")
        else:
            warehouse.run(f"DELETE FROM mart.{name} WHERE fit_no IN (SELECT earlier_no FROM moved_fits)")
            moved = f'"{_IN_PARTS[name][0]}" IN (SELECT {_IN_PARTS[name][0]} FROM moved_fits)'
            _build_in_parts(warehouse, name, n_rows, f"INSERT INTO mart.{name}", moved)
    if part and "fits" not in made_anew:
        warehouse.run(SQL / "rider_numbers.sql")


def _kept(warehouse: Warehouse, part: Part | None) -> set[str]:
    """Makes mart.fit_numbers; returns the marts of which rows are kept, those that are not in moved_fits."""
    if part is None:
        columns = "session_id VARCHAR, arrival_no BIGINT, departure_no BIGINT, n_captures BIGINT"
        warehouse.run(f"CREATE OR REPLACE TEMP TABLE earlier_numbers ({columns})")
        warehouse.run(SQL / "fit_numbers.sql", is_touched="true", is_untouched="false")
        return set()
    warehouse.run(SQL / "earlier_numbers.sql")
    warehouse.run(
        SQL / "touched_sessions.sql",
        sessions=" ".join(f"UNION ALL SELECT session_id FROM sessions_of_{name}" for name in part.tables),
        riders="rider_id IN (SELECT id FROM touched_riders)" if "riders" in part.tables else "false",
    )
    is_touched = "session_id IN (SELECT session_id FROM touched_sessions)"
    warehouse.run(SQL / "fit_numbers.sql", is_touched=is_touched, is_untouched=f"NOT {is_touched}")
    warehouse.run(SQL / "moved_fits.sql")
    if not part.is_small(warehouse.value("SELECT count(*) FROM moved_fits")):
        return set()
    kept = {"capture_facts", "feet", "fits"}
    return kept if _are_places_kept(warehouse, part) else kept - {"fits"}


def _are_places_kept(warehouse: Warehouse, part: Part) -> bool:
    """Whether fitters and studios have the places among all that mart.fits holds of them."""
    if "fitters" in part.tables and warehouse.value("SELECT count(*) FROM turned_fitters"):
        return False
    studios = "SELECT list(DISTINCT studio_id ORDER BY studio_id) FROM"
    return bool(warehouse.value(f"SELECT ({studios} core.fit_sessions) IS NOT DISTINCT FROM ({studios} mart.fits)"))


def _build_in_parts(warehouse: Warehouse, name: str, n_rows: int, make: str, is_moved: str) -> None:
    column, source = _IN_PARTS[name]
    # Wherever a part ends, it ends between two sessions.
    counted = f'SELECT "{column}" AS place, row_number() OVER () AS row FROM {source} WHERE {is_moved}'
    ends = f"SELECT DISTINCT place FROM ({counted}) WHERE row % $n_rows = 0 ORDER BY place"
    places = [row["place"] for row in warehouse.rows(ends, {"n_rows": n_rows})]
    for number, (low, high) in enumerate(zip([None, *places], [*places, None], strict=True)):
        tests = [test for value, test in ((low, ">= $low"), (high, "< $high")) if value is not None]
        part = {
            of: " AND ".join([f'{of}."{column}" {test}' for test in tests] + ([f"{of}.{is_moved}"] * (is_moved != "true")))
            or "true"
            for of in _NARROWED
        }
        made = f"INSERT INTO mart.{name}" if number else make
        warehouse.run(SQL / f"{name}.sql", {"low": low, "high": high}, make=made, **part)

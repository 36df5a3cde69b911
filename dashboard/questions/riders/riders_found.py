"""Finds riders by what a reader types, and the riders of fits; read anew each time and never remembered.

fitter: whose fits alone the reader may see; None where all.
"""

from collections.abc import Iterable

from dashboard.questions.riders import SQL
from shared.warehouse import Warehouse

MOST_FOUND = 20


def riders_found(warehouse: Warehouse, text: str, fitter: str | None = None) -> tuple[str, ...]:
    """Up to MOST_FOUND ids of riders that hold `text`, without case, those that begin with it first."""
    rows = warehouse.rows(SQL / "riders_found.sql", {"text": text.strip(), "fitter": fitter, "most": MOST_FOUND})
    return tuple(row["rider_id"] for row in rows)


def riders_known(warehouse: Warehouse, riders: Iterable[str], fitter: str | None = None) -> tuple[str, ...]:
    """Those of these ids that riders with fits have; what else was typed is none."""
    rows = warehouse.rows(SQL / "riders_known.sql", {"riders": [*riders], "fitter": fitter})
    return tuple(row["rider_id"] for row in rows)


def riders_of_fits(warehouse: Warehouse, sessions: Iterable[str], fitter: str | None = None) -> dict[str, str]:
    """The rider of each of these sessions; an unknown session is left out."""
    rows = warehouse.rows(SQL / "riders_of_fits.sql", {"sessions": list(sessions), "fitter": fitter})
    return {row["session_id"]: row["rider_id"] for row in rows}

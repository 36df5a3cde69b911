"""Where do left and right stand: both knees of first sessions, as points or, where they are many, counted in cells."""

from dashboard.questions.selection.every_fit import Remember, at_once
from dashboard.questions.selection.scope import counted, fragments, scope_of
from dashboard.questions.selection.selection import Selection
from dashboard.questions.symmetry import SQL
from dashboard.questions.symmetry.answers_sides import Sides, SidesRow
from dashboard.questions.symmetry.asymmetry import CAUTIONS
from dashboard.questions.symmetry.asymmetry_rows import MOMENTS, QUANTITIES
from shared.settings import Settings
from shared.warehouse import Warehouse

# More marks than these in one picture are no longer told apart.
MOST_CELLS = 2000


METHOD = {
    "rows": "riders' first sessions with both knees recorded, at the lowest and highest capture",
    "cells": f"up to {MOST_CELLS:,} riders as recorded; more are counted in the finest square cells that keep to as many marks",
    "side_difference": "right less left",
}
_UNITS = {quantity.name: quantity.unit for quantity in QUANTITIES}


def ask(
    warehouse: Warehouse, selection: Selection, settings: Settings, most_cells: int = MOST_CELLS, remember: Remember = at_once
) -> Sides:
    """Left and right values at arrival and departure; at most `most_cells` rows a quantity and moment."""
    scope = scope_of(warehouse, selection, settings, remember)
    scope.require_fits()
    parameters = {**scope.parameters, "most_cells": most_cells}
    rows = tuple(
        SidesRow(unit=_UNITS[row["quantity"]], **row)
        for row in warehouse.rows(SQL / "sides_cells.sql", parameters, **fragments())
    )
    return Sides(
        **scope.head(selection),
        method={
            **METHOD,
            "side_difference_limit_deg": settings.knee.side_difference_deg,
            "offset_difference_limit_mm": settings.knee.offset_difference_mm,
        },
        **scope.counts,
        headline=f"In {scope.words}: {_headline(rows)}",
        cautions=CAUTIONS,
        sides=rows,
    )


def _headline(rows: tuple[SidesRow, ...]) -> str:
    """How many stand beyond the limit in tilt; the shares with their intervals are those of the asymmetry question."""
    parts = []
    for moment in MOMENTS:
        here = [row for row in rows if (row.quantity, row.moment) == ("tilt", moment)]
        n, n_beyond = sum(row.n_riders for row in here), sum(row.n_riders for row in here if row.is_beyond)
        parts.append(f"{n_beyond:,} of {counted(n, 'rider')} at {moment}")
    return f"a side difference in tilt in {' and in '.join(parts)}."

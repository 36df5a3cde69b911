"""Where the search for variance ratios begins: moments of the residuals' sums by rider, knee and visit."""

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from shared.statistics.rider_blocks import Blocks, indicator

Floats = NDArray[np.float64]

# A start is at least this: from the boundary itself a search may not leave.
_LEAST = 0.02


def starting_ratios(blocks: Blocks, sums: Floats, squares: float) -> dict[str, float]:
    """Ratios of rider, knee and visit to the residual's variance, from products of different cells' residuals.

    sums (lowest units, slots): of the residuals, lowest units being visits; squares: their sum of squares. Two knees in one
    visit share rider and visit, one knee in two visits rider and knee, different knees in two visits the rider alone (in the
    manner of Henderson 1953, Biometrics 9:226). Empty where riders come but once. Not an estimate to show: the search ends
    where it would from anywhere.
    """
    if len(blocks.levels) != 2 or blocks.n_slots < 2:
        return {}
    low, n_riders = blocks.levels[0], len(blocks.levels[1].unit_class)
    rows = np.asarray(low.composition.toarray()[low.unit_class], dtype=float)
    adding = indicator(low.parent, n_riders)
    return ratios_of_sums(sums, rows, lambda values: np.asarray(adding @ values), squares)


def ratios_of_sums(sums: Floats, rows: Floats, by_rider: Callable[[Floats], Floats], squares: float) -> dict[str, float]:
    """The same from sums of the residuals and numbers of rows (visits, knees), which by_rider adds up to (riders, knees)."""
    found = []
    for values in (sums, rows):
        of_riders = by_rider(values)
        in_cell, in_visit = float((values**2).sum()), float((values.sum(axis=1) ** 2).sum())
        of_knee, of_rider = float((of_riders**2).sum()), float((of_riders.sum(axis=1) ** 2).sum())
        found.append((in_visit - in_cell, of_knee - in_cell, of_rider - in_visit - of_knee + in_cell))
    (visit, knee, rider), (n_visit, n_knee, n_rider) = found
    cells = rows > 0
    degrees = float(rows.sum()) - int(cells.sum())
    within = squares - float((sums[cells] ** 2 / rows[cells]).sum())
    if min(n_visit, n_knee, n_rider, degrees, within) <= 0:
        return {}
    residual = within / degrees
    both, own, alone = visit / n_visit, knee / n_knee, rider / n_rider
    parts = {"rider": alone, "knee": own - alone, "visit": both - alone}
    return {name: max(part / residual, _LEAST) for name, part in parts.items()}

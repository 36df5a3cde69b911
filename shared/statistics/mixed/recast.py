"""Cells with another outcome, from sums that are there: a pass over the rows of what is new, not over all pairs of columns."""

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from shared.statistics.mixed.cells import ROUNDING, Cells, Flags, Floats

Columns = Sequence[Callable[[], Floats]]


def with_outcome(cells: Cells, columns: Columns, outcome: Floats, rows: Callable[[Flags | None], Floats]) -> Cells:
    """The cells with `outcome` (rows,) in place of theirs; columns: the varying columns, each (rows,); rows: as in Cells."""
    starts, v = np.cumsum(cells.n) - cells.n, cells.n_varying
    mean = np.add.reduceat(outcome, starts) / cells.n
    rest = _less(outcome, np.repeat(mean, cells.n))
    products, squares = np.empty((len(cells.n), v + 1)), cells.squares
    for place in range(v):
        found = np.add.reduceat(columns[place]() * rest, starts)
        # Of a column that is the same throughout a cell nothing is left but rounding.
        found[squares[:, place] == 0] = 0.0
        products[:, place] = found
    products[:, v] = np.add.reduceat(rest * rest, starts)
    return replace(cells, outcome=mean, outcome_products=products, rows=rows)


def _less(column: Floats, mean: Floats) -> NDArray[np.float64]:
    """What is left of a column beyond the mean, rounding aside."""
    rest = column - mean
    rest[np.abs(rest) <= ROUNDING * np.abs(column).max(initial=0.0)] = 0.0
    return rest

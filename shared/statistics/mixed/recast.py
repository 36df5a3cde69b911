"""Cells with another outcome, or with one column told by its values, from sums that are there: a pass over the rows of what is
new, not over all pairs of columns."""

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from shared.statistics.mixed.cells import ROUNDING, Cells, Flags, Floats, Ints, upper

Columns = Sequence[Callable[[], Floats]]


def with_outcome(cells: Cells, columns: Columns, outcome: Floats, rows: Callable[[Flags | None], Floats]) -> Cells:
    """The cells with `outcome` (rows,) in place of theirs; columns: the varying columns, each (rows,); rows: as in Cells."""
    starts, v = np.cumsum(cells.n) - cells.n, cells.n_varying
    mean = np.add.reduceat(outcome, starts) / cells.n
    rest = _less(outcome, np.repeat(mean, cells.n))
    products = cells.products
    first, last = upper(v + 1)
    for place in range(v):
        found = np.add.reduceat(columns[place]() * rest, starts)
        # Of a column that is the same throughout a cell nothing is left but rounding.
        found[products[:, np.flatnonzero((first == place) & (last == place))[0]] == 0] = 0.0
        products[:, np.flatnonzero((first == place) & (last == v))[0]] = found
    products[:, -1] = np.add.reduceat(rest * rest, starts)
    return replace(cells, outcome=mean, all_products=products, places=np.arange(len(cells.n)), rows=rows)


def with_indicators(
    cells: Cells, columns: Columns, replaced: int, code: Ints, n_codes: int, rows: Callable[[Flags | None], Floats]
) -> Cells:
    """The cells with the varying column `replaced` left out and, first, one column for each code, 1 where the row has it.

    columns: the varying columns and the outcome, each (rows,); code (rows,): 0 to n_codes - 1, or -1 for none of them; rows: as
    in Cells.
    """
    here = np.flatnonzero(code >= 0)
    cell = np.repeat(np.arange(len(cells.n)), cells.n)[here]
    key = cell * n_codes + code[here]

    def by_code(weights: Floats) -> Floats:
        return np.asarray(np.bincount(key, weights, len(cells.n) * n_codes).reshape(-1, n_codes), dtype=np.float64)

    count = by_code(np.ones(len(key)))
    share = count / cells.n[:, None]
    others = [place for place in range(cells.n_varying) if place != replaced]
    size = n_codes + len(others)
    before, after = upper(cells.n_varying + 1), upper(size + 1)
    products = np.zeros((len(cells.n), len(after[0])))
    kept = np.flatnonzero((before[0] != replaced) & (before[1] != replaced))
    # What is left of the old pairs stands last and in the same order.
    products[:, np.flatnonzero(after[0] >= n_codes)] = cells.products[:, kept]
    for place, old in enumerate((*others, cells.n_varying), start=n_codes):
        column = columns[old]()
        mean = cells.outcome if old == cells.n_varying else cells.mean[:, old]
        weights = _less(column[here], mean[cell], float(np.abs(column).max(initial=0.0)))
        crossed = by_code(weights)
        crossed[share == 1] = 0.0  # the same throughout the cell: nothing is left but rounding
        products[:, np.flatnonzero((after[0] < n_codes) & (after[1] == place))] = crossed
    for one in range(n_codes):
        pairs = np.flatnonzero((after[0] == one) & (after[1] < n_codes))
        products[:, pairs] = -count[:, [one]] * share[:, one:]
        products[:, pairs[0]] += count[:, one]
    mean = np.column_stack([share, cells.mean[:, others]])
    return replace(cells, mean=mean, all_products=products, places=np.arange(len(cells.n)), rows=rows)


def _less(column: Floats, mean: Floats, largest: float | None = None) -> NDArray[np.float64]:
    """What is left of a column beyond the mean, rounding aside."""
    rest = column - mean
    largest = float(np.abs(column).max(initial=0.0)) if largest is None else largest
    rest[np.abs(rest) <= ROUNDING * largest] = 0.0
    return rest

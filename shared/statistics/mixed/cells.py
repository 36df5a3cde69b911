"""Rows by cell, a knee in one visit: all that the two effect models need of any number of captures.

Within a cell only some columns vary, supports and capture order; exam and visit are the same throughout. The cross products of
a design are then those of the varying columns less their cell's mean, plus those of the cells' means: the first are the
within-knee estimator's own, and no matrix of rows and terms is ever made. METHODS.md, "Both models by cell".
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache, cached_property
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from shared.statistics.grouping import dense

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]
Labels = NDArray[np.generic]
Real = TypeVar("Real", np.float64, np.float32)

# A difference from the cell's mean below this share of a column's largest value is rounding.
ROUNDING = 1e-12
_ROWS_AT_A_TIME = 1 << 14


@dataclass(frozen=True)
class Cells:
    """Cells sorted by rider, so that a rider's follow one another; one cell a knee and visit.

    rider, knee, visit: codes or labels (cells,), a knee and a visit within one rider; n (cells,): rows; mean (cells, v) of the
    varying columns, outcome (cells,) of the outcome; all_products (more cells, pairs): upper triangle of the within-cell cross
    products of the varying columns and, last, the outcome, of the cells from which these were chosen, at `places` (cells,).
    Where is_by_rider, each rider's sum stands at the first of its cells, and zeros at the others: these cells are all chosen.
    outcome_products (cells, v + 1): the pairs with the outcome of these cells, where it is another than that of all_products.
    own_products (some cells, pairs): of cells that have other rows of this outcome, at the places beyond all_products.
    rows(chosen): the rows (m, v + 1) of the chosen cells, varying and outcome.
    """

    rider: Labels
    knee: Labels
    visit: Labels
    n: Ints
    mean: Floats
    outcome: Floats
    all_products: Floats
    places: Ints
    rows: Callable[[Flags | None], Floats]
    is_by_rider: bool = False
    outcome_products: Floats | None = None
    own_products: Floats | None = None

    @property
    def products(self) -> Floats:
        """The within-cell cross products of these cells, (cells, pairs)."""
        products = self.all_products.take(self.places, axis=0, mode="clip")
        if self.own_products is not None:
            here, places = self._own(self.places)
            products[here] = self.own_products.take(places, axis=0)
        return self._with_outcome(products, self.outcome_products)

    @property
    def squares(self) -> Floats:
        """The sums of squares of the varying columns less their cells' means, (cells, v)."""
        rows, columns = _upper(self.n_varying + 1)
        pairs = np.flatnonzero(rows == columns)[:-1]
        squares = self.all_products[:, pairs].take(self.places, axis=0, mode="clip")
        if self.own_products is not None:
            here, places = self._own(self.places)
            squares[here] = self.own_products[:, pairs].take(places, axis=0)
        return squares

    def _own(self, places: Ints) -> tuple[Ints, Ints]:
        """Which of the places are beyond all_products, and where they are in own_products."""
        here = np.flatnonzero(places >= len(self.all_products))
        return here, places.take(here) - len(self.all_products)

    def _with_outcome(self, products: Floats, of_outcome: Floats | None) -> Floats:
        if of_outcome is not None:
            products[:, _upper(self.n_varying + 1)[1] == self.n_varying] = of_outcome
        return products

    @cached_property
    def riders(self) -> tuple[Ints, Labels]:
        """Codes 0 to riders - 1 of each cell, in order, and the label of each."""
        codes, labels = dense(self.rider)
        return codes, labels

    def products_by(self, codes: Ints, n_groups: int, here: Ints) -> Floats:
        """The products of the cells at `here` summed by their ascending codes (groups, pairs)."""

        def summed(table: Floats, codes: Ints, places: Ints) -> Floats:
            starts, ones = np.searchsorted(codes, np.arange(n_groups + 1)), np.ones(len(places))
            return np.asarray(sparse.csr_array((ones, places, starts), shape=(n_groups, len(table))) @ table)

        of_outcome = None if self.outcome_products is None else summed(self.outcome_products, codes, here)
        places = self.places.take(here)
        if self.own_products is None:
            return self._with_outcome(summed(self.all_products, codes, places), of_outcome)
        beyond, own = self._own(places)
        among = np.flatnonzero(places < len(self.all_products))
        found = summed(self.all_products, codes.take(among), places.take(among))
        found += summed(self.own_products, codes.take(beyond), own)
        return self._with_outcome(found, of_outcome)

    @property
    def n_varying(self) -> int:
        return int(self.mean.shape[1])

    def chosen(self, kept: Flags) -> "Cells":
        """The cells where `kept` (cells,) is true."""
        assert not self.is_by_rider
        places, rows = np.flatnonzero(kept), self.rows

        def of_chosen(chosen: Flags | None) -> Floats:
            if chosen is None:
                return rows(kept)
            wanted = np.zeros(len(kept), dtype=bool)
            wanted[places[chosen]] = True
            return rows(wanted)

        return Cells(
            self.rider.take(places), self.knee.take(places), self.visit.take(places), self.n.take(places),
            self.mean.take(places, axis=0), self.outcome.take(places), self.all_products, self.places.take(places), of_chosen,
            outcome_products=None if self.outcome_products is None else self.outcome_products.take(places, axis=0),
            own_products=self.own_products,
        )  # fmt: skip


def upper(size: int) -> tuple[Ints, Ints]:
    """Rows and columns of the upper triangle of a (size, size) matrix."""
    return _upper(size)


@cache
def _upper(size: int) -> tuple[Ints, Ints]:
    rows, columns = np.triu_indices(size)
    return rows, columns


def full(packed: NDArray[Real], size: int, first: int | None = None) -> NDArray[Real]:
    """Symmetric matrices (..., size, size) from their upper triangles (..., pairs); of their `first` rows and columns only."""
    rows, columns = _upper(size)
    place = np.empty((size, size), dtype=np.int64)
    place[rows, columns] = place[columns, rows] = np.arange(len(rows))
    wanted = place[:first, :first]
    return packed.take(wanted.ravel(), axis=-1).reshape(*packed.shape[:-1], *wanted.shape)


def cell_moments(columns: Floats, n: Ints, cells_of: Ints | None = None) -> tuple[Floats, Floats]:
    """Means (cells, m) and packed within-cell cross products of columns (m, rows), cell after cell.

    The products are of each cell (cells, pairs), or, with cells_of (groups,), the number of cells in a row that each group
    has, summed by group (groups, pairs).
    """
    m, starts = len(columns), np.append(0, np.cumsum(n))
    cell = np.arange(len(starts)) if cells_of is None else np.append(0, np.cumsum(cells_of))
    row, begun = starts[cell], 0
    rounding = ROUNDING * np.abs(columns).max(axis=1, initial=0.0)
    mean, products = np.empty((len(n), m)), np.empty((len(cell) - 1, m * (m + 1) // 2))
    while begun < len(products):
        # So many rows at a time stay near the processor.
        end = max(begun + 1, int(np.searchsorted(row, row[begun] + _ROWS_AT_A_TIME, side="right")) - 1)
        own = slice(cell[begun], cell[end])
        rows = np.ascontiguousarray(columns[:, row[begun] : row[end]].T)
        mean[own] = np.add.reduceat(rows, starts[own] - row[begun], axis=0) / n[own, None]
        rows -= np.repeat(mean[own], n[own], axis=0)
        rows[np.abs(rows) <= rounding] = 0.0
        _add_products(products[begun:end], rows, row[begun : end + 1] - row[begun])
        begun = end
    return mean, products


def _add_products(found: Floats, rows: Floats, starts: Ints) -> None:
    """Fills the packed cross products (groups, pairs) of rows (rows, m), each group's from its start (groups + 1,) on."""
    m, sizes = rows.shape[1], np.diff(starts)
    left, right = _upper(m)
    for size in np.flatnonzero(np.bincount(sizes)):
        here = np.flatnonzero(sizes == size)
        stack = rows.take(starts[here, None] + np.arange(size), axis=0)
        found[here] = (stack.transpose(0, 2, 1) @ stack).reshape(len(here), -1).take(left * m + right, axis=1)

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


@dataclass(frozen=True)
class Cells:
    """Cells sorted by rider, so that a rider's follow one another; one cell a knee and visit.

    rider, knee, visit: codes or labels (cells,), a knee and a visit within one rider; n (cells,): rows; mean (cells, v) of the
    varying columns, outcome (cells,) of the outcome; all_products (more cells, pairs): upper triangle of the within-cell cross
    products of the varying columns and, last, the outcome, of the cells from which these were chosen, at `places` (cells,).
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

    @property
    def products(self) -> Floats:
        """The within-cell cross products of these cells, (cells, pairs)."""
        return self.all_products.take(self.places, axis=0)

    @cached_property
    def riders(self) -> tuple[Ints, Labels]:
        """Codes 0 to riders - 1 of each cell, in order, and the label of each."""
        codes, labels = dense(self.rider)
        return codes, labels

    def products_by(self, codes: Ints, n_groups: int, here: Ints) -> Floats:
        """The products of the cells at `here` summed by their ascending codes (groups, pairs)."""
        starts = np.searchsorted(codes, np.arange(n_groups + 1))
        shape = (n_groups, len(self.all_products))
        adding = sparse.csr_array((np.ones(len(here)), self.places.take(here), starts), shape=shape)
        return np.asarray(adding @ self.all_products)

    @property
    def n_varying(self) -> int:
        return int(self.mean.shape[1])

    def chosen(self, kept: Flags) -> "Cells":
        """The cells where `kept` (cells,) is true."""
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


def cell_moments(columns: Floats, n: Ints) -> tuple[Floats, Floats]:
    """Means (cells, m) and packed within-cell cross products (cells, pairs) of columns (m, rows), cell after cell."""
    starts = np.cumsum(n) - n
    mean = np.empty((len(n), len(columns)))
    rest = np.empty(columns.shape)
    for index, column in enumerate(columns):
        mean[:, index] = np.add.reduceat(column, starts) / n
        np.subtract(column, np.repeat(mean[:, index], n), out=rest[index])
        rest[index][np.abs(rest[index]) <= ROUNDING * np.abs(column).max(initial=0.0)] = 0.0
    rows, places = _upper(len(columns))
    products = np.empty((len(n), len(rows)))
    for pair, (left, right) in enumerate(zip(rows, places, strict=True)):
        products[:, pair] = np.add.reduceat(rest[left] * rest[right], starts)
    return mean, products

"""Rows by cell, a knee in one visit: all that the two effect models need of any number of captures.

Within a cell only some columns vary, supports and capture order; exam and visit are the same throughout. The cross products of
a design are then those of the varying columns less their cell's mean, plus those of the cells' means: the first are the
within-knee estimator's own, and no matrix of rows and terms is ever made. METHODS.md, "Both models by cell".
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
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

    @cached_property
    def by_rider(self) -> Floats:
        """The products summed by rider, (riders, pairs)."""
        codes, labels = self.riders
        return self.products_by(codes, len(labels))

    def products_by(self, codes: Ints, n_groups: int, here: Ints | None = None) -> Floats:
        """The products of the cells at `here`, all where None, summed by their ascending codes (groups, pairs)."""
        places = self.places if here is None else self.places.take(here)
        starts = np.searchsorted(codes, np.arange(n_groups + 1))
        shape = (n_groups, len(self.all_products))
        return np.asarray(sparse.csr_array((np.ones(len(places)), places, starts), shape=shape) @ self.all_products)

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


@dataclass(frozen=True)
class Terms:
    """Where the columns stand among the terms of a model.

    names (p,); level (cells,) and places (levels, v): the term of each varying column in cells of that level, -1 for none;
    constant (cells, k): the columns that are the same throughout a cell, whose terms are the last k; products (levels, pairs):
    the cells' packed products summed by level.
    """

    names: tuple[str, ...]
    level: Ints
    places: Ints
    constant: Floats
    products: Floats

    @classmethod
    def of(cls, cells: "Cells", names: tuple[str, ...], level: Ints, places: Ints, constant: Floats | None = None) -> "Terms":
        if len(places) == 1:
            products = cells.by_rider.sum(axis=0)[None]
        else:
            order = np.argsort(level, kind="stable")
            products = cells.products_by(level.take(order), len(places), order)
        return cls(names, level, places, np.empty((len(cells.n), 0)) if constant is None else constant, products)

    def of_chosen(self, cells: "Cells", kept: Flags) -> "Terms":
        """The same terms of some of the cells: those where `kept` (cells,) is true."""
        return Terms.of(cells, self.names, self.level[kept], self.places, self.constant[kept])

    def varying(self, told: Flags) -> "Terms":
        """The terms where `told` (p,) is true, without the columns that are the same throughout a cell."""
        return replace(self, constant=self.constant[:, :0]).kept(told)

    def kept(self, told: Flags) -> "Terms":
        """The terms where `told` (p,) is true."""
        if told.all():
            return self
        new_place = np.append(np.where(told, np.cumsum(told) - 1, -1), -1)
        names = tuple(name for name, keep in zip(self.names, told, strict=True) if keep)
        of_constant = told[len(told) - self.constant.shape[1] :]
        constant = self.constant if of_constant.all() else self.constant[:, of_constant]
        return replace(self, names=names, places=new_place[self.places], constant=constant)


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


def sums_by(codes: Ints, n_groups: int, values: NDArray[Real], weights: NDArray[Real] | None = None) -> NDArray[Real]:
    """Sums (groups, m) of values (n, m), each times its weight where there are weights."""
    entries = np.ones(len(codes), dtype=values.dtype) if weights is None else weights
    if len(codes) and (codes[1:] >= codes[:-1]).all():
        starts = np.searchsorted(codes, np.arange(n_groups + 1))
        adding = sparse.csr_array((entries, np.arange(len(codes)), starts), shape=(n_groups, len(codes)))
    else:
        adding = sparse.csr_array((entries, (codes, np.arange(len(codes)))), shape=(n_groups, len(codes)))
    return np.asarray(adding @ values)


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


def within_products(terms: Terms) -> Floats:
    """Cross products (p + 1, p + 1) of the terms and, last, the outcome, less their cells' means."""
    v, p = terms.places.shape[1], len(terms.names)
    found = np.zeros((p + 2, p + 2))
    for places, products in zip(terms.places, terms.products, strict=True):
        at = np.append(np.where(places < 0, p + 1, places), p)
        found[np.ix_(at, at)] += full(products, v + 1)
    return found[: p + 1, : p + 1]


def mean_columns(cells: Cells, terms: Terms) -> Floats:
    """The cells' means of every term and, last, of the outcome, (cells, p + 1)."""
    p, k = len(terms.names), terms.constant.shape[1]
    design = np.zeros((len(cells.n), p + 1))
    design[:, p - k : p] = terms.constant
    design[:, p] = cells.outcome
    for level, places in enumerate(terms.places):
        kept = places >= 0
        if len(terms.places) == 1:
            # One after the other, as a rule: a block is copied at once.
            first = int(places[0])
            if np.array_equal(places, np.arange(first, first + len(places))) and first >= 0:
                design[:, first : first + len(places)] = cells.mean
            else:
                design[:, places[kept]] = cells.mean[:, kept]
        else:
            here = np.flatnonzero(terms.level == level)
            design[here[:, None], places[kept]] = cells.mean[here][:, kept]
    return design


def row_design(cells: Cells, terms: Terms, chosen: Flags | None = None) -> tuple[Floats, Floats]:
    """The design (n, p) and the outcome (n,) row by row, of the chosen cells."""
    rows = cells.rows(chosen)
    picked = np.arange(len(cells.n)) if chosen is None else np.flatnonzero(chosen)
    p, k = len(terms.names), terms.constant.shape[1]
    cell = np.repeat(picked, cells.n[picked])
    design = np.zeros((len(rows), p))
    design[:, p - k :] = terms.constant.take(cell, axis=0)
    for level, places in enumerate(terms.places):
        kept = np.flatnonzero(places >= 0)
        if len(terms.places) == 1:
            design[:, places[kept]] = rows[:, kept]
        else:
            here = np.flatnonzero(terms.level.take(cell) == level)
            design[here[:, None], places[kept]] = rows[here][:, kept]
    return design, rows[:, -1]

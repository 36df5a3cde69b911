"""The pooled model of many riders from cells: a few passes over the cells, whatever is small learned from a sample of riders.

REML settles on the ratios by Newton's steps; the information is summed once, near the optimum, and carried the rest of the
way by its derivatives; CR2 is CR1 times a factor near one. METHODS.md, "Many riders".
"""

from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from shared.errors import NoConvergenceError
from shared.statistics.cells import Cells, Floats, Terms, within_products
from shared.statistics.ratio_search import best_ratios, updated_curvature
from shared.statistics.starting_ratios import ratios_of_sums
from shared.statistics.visit_pairs import Pairs, Solved, inverse_at, pairs_of, slopes, solve, taken_off

Flags = NDArray[np.bool_]

# From so many riders on; the sample holds half as many, evenly spread.
MANY = 8192
SAMPLED = MANY // 2
# Steps on log(1 + m ratio), m the mean number of rows a group; what is left after one is a small part of it.
_SETTLED, _LONGEST, _MOST_STEPS, _DIFFERENCE = 1e-4, 1.0, 12, 1e-4
# A step on that scale after which the information of all riders is summed.
_NEAR = 0.02
# Estimate and ratios of a sample in turn, each time to a step so small: all riders' own steps begin there.
_OF_SAMPLE = (0.1, 0.02)


@dataclass(frozen=True)
class Few:
    """Some of the cells with their terms and columns (cells, p + 1), the latter as in _Data."""

    cells: Cells
    terms: Terms
    columns: Floats

    def chosen(self, kept: Flags) -> "Few":
        """The cells where `kept` (cells,) is true."""
        if kept.all():
            return self
        own = self.cells.chosen(kept)
        return Few(own, self.terms.of_chosen(own, kept), self.columns.take(np.flatnonzero(kept), axis=0))


@dataclass(frozen=True)
class ManyFit:
    """ratios (3,) of rider, knee and visit; estimate (p,); bread (p, p), the inverse information; squares: y'V^-1 y of the
    residual; logdets: of V and of the information; weights (cells,): what the root of a cell's rows times its mean counts in
    the scores; sample (riders,): which riders stood for all in what is small; few: their cells."""

    ratios: Floats
    estimate: Floats
    bread: Floats
    squares: float
    logdets: float
    weights: Floats
    sample: Flags
    few: Few


class _Data:
    """Cells' means (cells, p + 1), each times the root of its rows, and their cross products: those
    within cells, and all."""

    def __init__(self, pairs: Pairs, columns: Floats, products: Floats, within: Floats) -> None:
        self.pairs, self.columns, self.products, self.within = pairs, columns, products, within
        self.root_n = np.sqrt(pairs.n)
        n_rows = pairs.n.sum()
        self.degrees = float(n_rows) - len(products) + 1
        self.scale = n_rows / np.array([len(pairs.first), 2 * len(pairs.first), len(pairs.n)])

    def left_by(self, estimate: Floats) -> "_Left":
        contrast = np.append(-estimate, 1.0)
        sums = self.pairs.of_cells(self.columns @ contrast) * self.root_n
        return _Left(self, sums, float(contrast @ self.products @ contrast), (self.within @ contrast)[:-1])

    def information(self, ratios: Floats) -> Floats:
        """[X y]' V^-1 [X y]."""
        return self.products - taken_off(self.pairs, inverse_at(self.pairs, ratios), self.root_n, self.columns)

    def weights(self, solved: Solved) -> Floats:
        """What V^-1 makes of the residual, by cell, over the root of its rows (cells,)."""
        slot = self.pairs.slot
        return np.asarray(solved.cells.take(slot) / self.root_n.take(slot))


@dataclass(frozen=True)
class _Left:
    """A residual: its sums by visit and knee, its sum of squares, and its products with the terms within cells (p,)."""

    data: _Data
    sums: Floats
    squares: float
    within: Floats

    def at(self, ratios: Floats) -> tuple[float, Floats, Solved, float]:
        """Minus the log-likelihood less the share of the terms' information, its gradient, the residual's sums through V^-1,
        and log |V|."""
        inverse = inverse_at(self.data.pairs, ratios)
        found = solve(self.data.pairs, inverse, self.sums)
        rest = self.squares - found.taken_off
        value = 0.5 * (inverse.logdet + self.data.degrees * np.log(rest))
        return float(value), 0.5 * (inverse.d_logdet - self.data.degrees / rest * found.slope), found, inverse.logdet

    def score(self, solved: Solved) -> Floats:
        """X'V^-1 times the residual, (p,)."""
        return np.asarray(self.within + (self.data.weights(solved) @ self.data.columns)[:-1])


@dataclass(frozen=True)
class _Learned:
    """What a sample tells: ratios (3,) near the optimum; estimate (p,); bread (p, p): the inverse information of all riders;
    curvature (3, 3) of the profiled criterion on the scale of the steps; how the estimate (p, 3) and minus the information
    (3, p, p) turn with the ratios; of_terms (3,): half the derivatives of the logarithm of the information's determinant."""

    ratios: Floats
    estimate: Floats
    bread: Floats
    curvature: Floats
    of_estimate: Floats
    of_information: Floats
    of_terms: Floats


def evenly_spread(n_riders: int, n_sampled: int) -> Flags:
    """Which riders (riders,) are of the sample."""
    sample = np.zeros(n_riders, dtype=bool)
    sample[np.arange(n_sampled) * n_riders // n_sampled] = True
    return sample


def fit_many(cells: Cells, terms: Terms, columns: Floats, within: Floats, products: Floats) -> ManyFit | None:
    """The fit of `terms` (p); None where the cells are not built so, or the steps do not settle.

    columns (cells, p + 1), within and products (p + 1, p + 1) as in _Data, the outcome last.
    """
    pairs = pairs_of(cells)
    if pairs is None or not pairs.told[0]:
        return None
    n_riders = len(pairs.first)
    data = _Data(pairs, columns, products, within)
    sample = evenly_spread(n_riders, SAMPLED)
    try:
        few = Few(cells, terms, columns).chosen(sample[cells.riders[0]])
        learned = _learned(_sampled(few), pairs.told, n_riders / SAMPLED)
        return _settled(data, learned, pairs.told, sample, few)
    except (NoConvergenceError, np.linalg.LinAlgError):
        return None


def _sampled(few: Few) -> _Data:
    pairs = pairs_of(few.cells)
    if pairs is None:
        raise NoConvergenceError("The sample is built otherwise.")
    within = within_products(few.terms)
    return _Data(pairs, few.columns, within + few.columns.T @ few.columns, within)


def _learned(few: _Data, told: Flags, times: float) -> _Learned:
    scale = few.scale
    begun = few.left_by(_estimate(few.products))
    moments = ratios_of_sums(begun.sums, few.pairs.n, few.pairs.by_rider, begun.squares)
    start = np.array([moments["rider"], moments["knee"], moments["visit"]]) if moments else np.ones(3)
    found = np.where(told, start, 0.0)
    for settled in _OF_SAMPLE:
        left = few.left_by(_estimate(few.information(found)))
        found[told] = best_ratios(partial(_of_told, left, told), scale[told], "", found[told], settled)
    information = few.information(found)
    bread = np.asarray(np.linalg.inv(information[:-1, :-1]), dtype=np.float64)
    estimate = _estimate(information)
    left = few.left_by(estimate)
    _, gradient, solved, _ = left.at(found)
    score, rate = left.score(solved), (1 + scale * found) / scale
    of_estimate, curvature = np.zeros((len(estimate), 3)), np.zeros((3, 3))
    for index in np.flatnonzero(told):
        moved = found + _DIFFERENCE * rate * (np.arange(3) == index)
        turned = bread @ (left.score(left.at(moved)[2]) - score) / _DIFFERENCE
        of_estimate[:, index] = turned / rate[index]
        beside = few.left_by(estimate + turned * _DIFFERENCE).at(moved)[1]
        curvature[index] = (beside * (1 + scale * moved) / scale - gradient * rate) / _DIFFERENCE
    turned = slopes(few.pairs, inverse_at(few.pairs, found), few.root_n, few.columns)[:, :-1, :-1]
    of_terms = -0.5 * np.einsum("ij,kji->k", bread, turned)
    return _Learned(
        found, estimate, bread / times, (curvature + curvature.T) / 2 * times, of_estimate, turned * times, of_terms
    )


def _estimate(information: Floats) -> Floats:
    return np.asarray(np.linalg.solve(information[:-1, :-1], information[:-1, -1]))


def _of_told(left: _Left, told: Flags, ratios: Floats) -> tuple[float, Floats]:
    """The criterion and its gradient by the ratios that the data can tell."""
    every = np.zeros(3)
    every[told] = ratios
    value, gradient, _, _ = left.at(every)
    return value, gradient[told]


def _settled(data: _Data, learned: _Learned, told: Flags, sample: Flags, few: Few) -> ManyFit:
    """Newton's steps to where the gradient vanishes; a ratio at the boundary is exactly 0."""
    scale, curvature = data.scale, learned.curvature
    bread, estimate = learned.bread, learned.estimate
    summed_at = learned.ratios
    information: Floats | None = None
    theta, before, step = np.log1p(scale * learned.ratios), np.zeros(3), np.zeros(3)
    for _ in range(_MOST_STEPS):
        ratios = np.expm1(theta) / scale
        left = data.left_by(estimate)
        _, gradient, solved, logdet = left.at(ratios)
        change = bread @ left.score(solved)
        gradient = (gradient + learned.of_terms) * np.exp(theta) / scale
        if step.any():
            curvature = updated_curvature(curvature, step, gradient - before)
        step = _step(theta, gradient, told, curvature, learned.curvature)
        theta, before = theta + step, gradient
        estimate = estimate + change + learned.of_estimate @ (np.expm1(theta) / scale - ratios)
        if information is None and np.abs(step).max() < _NEAR:
            summed_at = np.expm1(theta) / scale
            information = data.information(summed_at)
            bread = np.asarray(np.linalg.inv(information[:-1, :-1]), dtype=np.float64)
            estimate = _estimate(information)
            curvature, step = learned.curvature, np.zeros(3)  # the gradient turned with the estimate, not along the step
        elif information is not None and np.abs(step).max() < _SETTLED:
            break
    else:
        raise NoConvergenceError("The steps did not settle.")
    ratios = np.expm1(theta) / scale
    moved = np.tensordot(ratios - summed_at, learned.of_information, axes=1)
    settled: Floats = information[:-1, :-1] - moved
    logdets = logdet + float(np.linalg.slogdet(settled)[1])
    squares = left.squares - solved.taken_off
    inverse = np.asarray(np.linalg.inv(settled), dtype=np.float64)
    return ManyFit(ratios, estimate, inverse, squares, logdets, data.weights(solved), sample, few)


def _step(theta: Floats, gradient: Floats, told: Flags, curvature: Floats, surely: Floats) -> Floats:
    """Newton's step within the bounds, by `curvature` where it leads down, else by `surely`."""
    free = told & ((theta > 0) | (gradient < 0))
    for bent in (curvature, surely):
        step = np.zeros(3)
        step[free] = -np.linalg.solve(bent[np.ix_(free, free)], gradient[free])
        if step @ gradient <= 0 and np.abs(step).max() <= _LONGEST:
            return np.asarray(np.maximum(theta + step, 0.0) - theta)
    raise NoConvergenceError("The steps lead nowhere.")

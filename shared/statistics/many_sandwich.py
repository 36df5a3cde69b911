"""The covariance clustered by rider of a model of many riders: CR1's sums of all, and CR2's excess over it from a sample.

METHODS.md, "Many riders".
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from shared.statistics.cell_sandwich import Groups, Whitened, cr2_of_cells, groups_of
from shared.statistics.cells import Cells, Floats, Ints, Terms
from shared.statistics.cluster_robust import Sandwich
from shared.statistics.fast_mixed import by_level, layout_of
from shared.statistics.many_riders import SAMPLED, Few, ManyFit, evenly_spread
from shared.statistics.rider_blocks import indicator, rider_blocks, runs_of_cells, told_apart
from shared.statistics.small_matrices import cross_product
from shared.statistics.whitening import whitened_cells

Flags = NDArray[np.bool_]

# A term of which single riders carry more than this (sum of the squares of their shares) has all riders computed.
_CONCENTRATED = 8e-3


@dataclass
class _Sums:
    """By rider: influence (riders, m) as CR1 has it, and what the rider carries of each term's variance, shares (riders, m)."""

    influence: Floats
    shares: Floats

    def add(self, group: Groups) -> None:
        """Adds what the cells' columns tell within cells: scores and shares in one product."""
        reading = np.column_stack([group.reading() @ group.of_term, group.paired(group.of_term)])
        found = group.products @ reading
        m = self.influence.shape[1]
        self.influence[group.riders] += found[:, :m]
        self.shares[group.riders] += found[:, m:]

    def concentrated(self, variance: Floats) -> bool:
        shares = self.shares / variance
        return bool(np.einsum("gm,gm->m", shares, shares).max() > _CONCENTRATED)


def sandwich_of_many(cells: Cells, terms: Terms, fit: ManyFit, columns: Floats, wanted: Flags) -> Sandwich:
    """Covariance, influence and degrees of freedom of the terms in `wanted` (p,); those of the others may be NaN.

    terms (p): with their constant columns; columns (cells, p + 1) as in fit_many.
    """
    rider, labels = cells.riders
    of_term = fit.bread[:, wanted]
    turned = columns[:, :-1] @ of_term
    influence = _summed(rider, len(labels), turned, fit.weights)
    sums = _Sums(influence, _summed(rider, len(labels), np.square(turned, out=turned), np.ones(len(rider))))
    for group in groups_of(cells, terms, rider, fit.estimate, of_term):
        sums.add(group)

    def exactly(riders: Flags) -> Sandwich:
        own = fit.few if riders is fit.sample else Few(cells, terms, columns).chosen(riders[rider])
        return _exactly(own, fit, wanted)

    return _scaled(sums, np.diag(fit.bread)[wanted], wanted, fit.sample, exactly)


def within_sandwich_of_many(cells: Cells, terms: Terms, fit: Whitened) -> Sandwich:
    """The same of all terms of a model on differences within cells, from its fit; terms: varying columns alone."""
    rider, labels = cells.riders
    bread = fit.to_basis @ fit.bread @ fit.to_basis.T
    sums = _Sums(*np.zeros((2, len(labels), len(bread))))
    for group in groups_of(cells, terms, rider, fit.estimate, bread):
        sums.add(group)
    wanted = np.ones(len(bread), dtype=bool)

    def exactly(riders: Flags) -> Sandwich:
        kept = riders[rider]
        few = Few(cells, terms, cells.mean[:, :0]).chosen(kept)
        return cr2_of_cells(few.cells, few.terms, few.cells.riders[0], fit, wanted)

    return _scaled(sums, np.diag(bread), wanted, evenly_spread(len(labels), SAMPLED), exactly)


def _scaled(sums: _Sums, variance: Floats, wanted: Flags, sample: Flags, exactly: Callable[[Flags], Sandwich]) -> Sandwich:
    """CR1's sums with each term brought to CR2's size by the sampled riders; CR2 of all where few riders carry a term."""
    if sums.concentrated(variance):
        return exactly(np.ones(len(sample), dtype=bool))
    few, influence = exactly(sample), sums.influence
    own = influence[sample]
    influence *= np.sqrt((few.influence[:, wanted] ** 2).sum(axis=0) / (own**2).sum(axis=0))
    covariance = np.full((len(wanted), len(wanted)), np.nan)
    covariance[np.ix_(wanted, wanted)] = cross_product(influence, influence)
    every = influence
    if not wanted.all():
        every = np.full((len(sample), len(wanted)), np.nan)
        every[:, wanted] = influence
    return Sandwich(every, covariance, few.df * (len(sample) / int(sample.sum())))


def _summed(rider: Ints, n_riders: int, values: Floats, weights: Floats) -> Floats:
    """Sums (riders, m) of values (cells, m), each times its weight; riders in order."""
    starts = np.searchsorted(rider, np.arange(n_riders + 1))
    adding = sparse.csr_array((weights, np.arange(len(rider)), starts), shape=(n_riders, len(rider)))
    return np.asarray(adding @ values)


def _exactly(few: Few, fit: ManyFit, wanted: Flags) -> Sandwich:
    """CR2 of the scores of some riders, by their cells, each rider's own share of the information as it is."""
    own = few.cells
    runs = runs_of_cells(own.rider, own.knee, own.visit, own.n)
    blocks = rider_blocks(runs, told_apart(runs))
    ratios = dict(zip(("rider", "knee", "visit"), fit.ratios, strict=True))
    level_ratios = by_level(layout_of(blocks, told_apart(runs)), ratios)
    slots = len(blocks.levels[0].unit_class) * blocks.n_slots
    p = len(fit.estimate)
    left = few.columns.copy()
    left[:, -1] -= left[:, :-1] @ fit.estimate
    left *= np.sqrt(own.n)[:, None]
    sums = (indicator(blocks.cell, slots) @ left).reshape(-1, blocks.n_slots, p + 1)
    between = whitened_cells(blocks, own.n, sums, level_ratios)
    whitened = Whitened(np.eye(p), fit.bread, fit.estimate, between, np.zeros(p))
    return cr2_of_cells(own, few.terms, runs.rider, whitened, wanted)

"""The covariance clustered by rider of a model of many riders: CR1's sums of all, and CR2's excess over it from a sample.

METHODS.md, "Many riders".
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from shared.statistics.cell_sandwich import Groups, Tallied, Whitened, groups_of, tallied
from shared.statistics.cells import Cells, Floats, Ints, Terms
from shared.statistics.cluster_robust import Sandwich
from shared.statistics.fast_mixed import by_level, layout_of
from shared.statistics.many_riders import SAMPLED, Few, ManyFit, evenly_spread
from shared.statistics.rider_blocks import indicator, rider_blocks, runs_of_cells
from shared.statistics.rider_sandwich import Tally
from shared.statistics.small_matrices import cross_product
from shared.statistics.whitening import whitened_cells

Flags = NDArray[np.bool_]

# Of a term of which single riders carry more than this (sum of the squares of their shares), those who carry more than a heavy
# share are computed one by one.
_CONCENTRATED, _HEAVY = 8e-3, 5e-4


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

    def heavy(self, variance: Floats) -> Flags:
        """The riders (riders,) who carry much of a term that few carry."""
        shares = self.shares / variance
        concentrated = np.einsum("gm,gm->m", shares, shares) > _CONCENTRATED
        return np.asarray((shares[:, concentrated] > _HEAVY).any(axis=1))


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

    def exactly(riders: Flags) -> Tallied:
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

    def exactly(riders: Flags) -> Tallied:
        kept = riders[rider]
        few = Few(cells, terms, cells.mean[:, :0]).chosen(kept)
        return tallied(few.cells, few.terms, few.cells.riders[0], fit, wanted)

    return _scaled(sums, np.diag(bread), wanted, evenly_spread(len(labels), SAMPLED), exactly)


def _scaled(sums: _Sums, variance: Floats, wanted: Flags, sample: Flags, exactly: Callable[[Flags], Tallied]) -> Sandwich:
    """CR1's sums with each term brought to CR2's size by the sampled riders; CR2 of those who carry much of a term of few."""
    heavy, influence = sums.heavy(variance), sums.influence
    light = sample & ~heavy if heavy.any() else sample
    few = exactly(light)
    of_few, own = ((some**2).sum(axis=0) for some in (few.influence[:, wanted], influence[light]))
    influence *= np.sqrt(np.divide(of_few, own, out=np.ones_like(own), where=own > 0))
    tally = Tally(int(wanted.sum()), few.tally.p)
    tally.add(few.tally, int((~heavy).sum()) / int(light.sum()))
    if heavy.any():
        alone = exactly(heavy)
        influence[heavy] = alone.influence[:, wanted]
        tally.add(alone.tally, 1.0)
    covariance = np.full((len(wanted), len(wanted)), np.nan)
    covariance[np.ix_(wanted, wanted)] = cross_product(influence, influence)
    every = influence
    if not wanted.all():
        every = np.full((len(sample), len(wanted)), np.nan)
        every[:, wanted] = influence
    return Sandwich(every, covariance, tally.df(few.of_term, wanted))


def _summed(rider: Ints, n_riders: int, values: Floats, weights: Floats) -> Floats:
    """Sums (riders, m) of values (cells, m), each times its weight; riders in order."""
    starts = np.searchsorted(rider, np.arange(n_riders + 1))
    adding = sparse.csr_array((weights, np.arange(len(rider)), starts), shape=(n_riders, len(rider)))
    return np.asarray(adding @ values)


def _exactly(few: Few, fit: ManyFit, wanted: Flags) -> Tallied:
    """CR2 of the scores of some riders, by their cells, each rider's own share of the information as it is."""
    own = few.cells
    runs = runs_of_cells(own.rider, own.knee, own.visit, own.n)
    ratios = {name: float(ratio) for name, ratio in zip(("rider", "knee", "visit"), fit.ratios, strict=True) if ratio > 0}
    # What all riders tell apart: among some with one visit each, the visit's intercept is still there.
    blocks = rider_blocks(runs, ratios)
    level_ratios = by_level(layout_of(blocks, frozenset(ratios)), ratios)
    slots = len(blocks.levels[0].unit_class) * blocks.n_slots
    p = len(fit.estimate)
    left = few.columns.copy()
    left[:, -1] -= left[:, :-1] @ fit.estimate
    left *= np.sqrt(own.n)[:, None]
    sums = (indicator(blocks.cell, slots) @ left).reshape(-1, blocks.n_slots, p + 1)
    between = whitened_cells(blocks, own.n, sums, level_ratios)
    whitened = Whitened(np.eye(p), fit.bread, fit.estimate, between, np.zeros(p))
    return tallied(own, few.terms, runs.rider, whitened, wanted)

"""The covariance clustered by rider of a model of many riders: CR1's sums of all, and CR2's excess over it from a sample.

METHODS.md, "Many riders".
"""

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from shared.statistics.cell_sandwich import Whitened, cr2_of_cells, groups_of
from shared.statistics.cells import Cells, Floats, Ints, Terms
from shared.statistics.cluster_robust import Sandwich
from shared.statistics.fast_mixed import by_level, layout_of
from shared.statistics.many_riders import ManyFit
from shared.statistics.rider_blocks import indicator, rider_blocks, runs_of_cells, told_apart
from shared.statistics.small_matrices import cross_product
from shared.statistics.whitening import whitened_cells

Flags = NDArray[np.bool_]

# A term of which single riders carry more than this (sum of the squares of their shares) has all riders computed.
_CONCENTRATED = 8e-3


def sandwich_of_many(cells: Cells, terms: Terms, fit: ManyFit, columns: Floats, wanted: Flags) -> Sandwich:
    """Covariance, influence and degrees of freedom of the terms in `wanted` (p,); those of the others may be NaN.

    terms (p): with their constant columns; columns (cells, p + 1) as in fit_many.
    """
    rider, labels = cells.riders
    of_term = fit.bread[:, wanted]
    turned = columns[:, :-1] @ of_term
    shares = _summed(rider, len(labels), turned**2, np.ones(len(rider)))
    groups = list(groups_of(cells, terms, rider, fit.estimate, of_term))
    for group in groups:
        shares[group.riders] += group.products @ group.paired(group.of_term)
    variance = np.diag(fit.bread)[wanted]
    if ((shares / variance) ** 2).sum(axis=0).max() > _CONCENTRATED:
        return _exactly(cells, terms, fit, columns, wanted, np.ones(len(labels), dtype=bool))
    influence = _summed(rider, len(labels), turned, fit.weights)
    for group in groups:
        influence[group.riders] += group.scores()
    few = _exactly(cells, terms, fit, columns, wanted, fit.sample)
    own = influence[fit.sample]
    influence *= np.sqrt((few.influence[:, wanted] ** 2).sum(axis=0) / (own**2).sum(axis=0))
    covariance = np.full((len(wanted), len(wanted)), np.nan)
    covariance[np.ix_(wanted, wanted)] = cross_product(influence, influence)
    every = np.full((len(labels), len(wanted)), np.nan)
    every[:, wanted] = influence
    return Sandwich(every, covariance, few.df * (len(labels) / int(fit.sample.sum())))


def _summed(rider: Ints, n_riders: int, values: Floats, weights: Floats) -> Floats:
    """Sums (riders, m) of values (cells, m), each times its weight; riders in order."""
    starts = np.searchsorted(rider, np.arange(n_riders + 1))
    adding = sparse.csr_array((weights, np.arange(len(rider)), starts), shape=(n_riders, len(rider)))
    return np.asarray(adding @ values)


def _exactly(cells: Cells, terms: Terms, fit: ManyFit, columns: Floats, wanted: Flags, riders: Flags) -> Sandwich:
    """CR2 of the scores of some `riders` (riders,), each rider's own share of the information as it is."""
    kept = riders[cells.riders[0]]
    own = cells.chosen(kept)
    runs = runs_of_cells(own.rider, own.knee, own.visit, own.n)
    blocks = rider_blocks(runs, told_apart(runs))
    ratios = dict(zip(("rider", "knee", "visit"), fit.ratios, strict=True))
    level_ratios = by_level(layout_of(blocks, told_apart(runs)), ratios)
    slots = len(blocks.levels[0].unit_class) * blocks.n_slots
    p = len(fit.estimate)
    left = columns[kept]
    left[:, -1] -= left[:, :-1] @ fit.estimate
    left *= np.sqrt(own.n)[:, None]
    sums = (indicator(blocks.cell, slots) @ left).reshape(-1, blocks.n_slots, p + 1)
    between = whitened_cells(blocks, own.n, sums, level_ratios)
    whitened = Whitened(np.eye(p), fit.bread, fit.estimate, between, np.zeros(p))
    return cr2_of_cells(own, terms.of_chosen(own, kept), runs.rider, whitened, wanted)

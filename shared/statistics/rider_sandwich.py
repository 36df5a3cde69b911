"""CR2 of whitened rows at speed: by the smaller side of each rider, and for many riders without what ties them to one another.

The same covariance as `cluster_robust`, whose formulas it follows. METHODS.md, "The pooled model at speed".
"""

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from shared.statistics.cluster_robust import Sandwich, root_of, stacks_of_riders
from shared.statistics.small_matrices import cross_product

Array = NDArray[np.float64]
Codes = NDArray[np.int64]
Flags = NDArray[np.bool_]

# Above this many riders, what ties those of little leverage to one another is left out of the degrees of freedom.
JOINT_UP_TO = 1000
# Total leverage of a rider up to which the inverse root is a series of so many terms (error below 2e-6); above, eigenvectors.
LITTLE, _TERMS_FOR_LITTLE = 0.05, 3
_MUCH, _TERMS_UP_TO_MUCH = 0.3, 10
# The same limits as cluster_robust: a direction that one rider carries alone, and the share of it that a term survives.
_ALONE = 1 - 1e-8
_ROWS_AT_A_TIME = 20_000
_LOST = 1e-6


@dataclass
class Tally:
    """Riders and their adjusted scores by stack, and by term the sums that make the degrees of freedom."""

    n_wanted: int
    p: int
    riders: list[Codes] = field(default_factory=list)
    adjusted: list[Array] = field(default_factory=list)

    def __post_init__(self) -> None:
        m = self.n_wanted
        self.trace, self.squares, self.alone, self.fourth = np.zeros(m), np.zeros(m), np.zeros(m), np.zeros(m)
        self.crossed = np.zeros((m, self.p, self.p))

    def add(self, other: "Tally", times: float) -> None:
        """Adds the sums of other riders, each of whom stands for so many."""
        for name in ("trace", "squares", "alone", "fourth", "crossed"):
            setattr(self, name, getattr(self, name) + times * getattr(other, name))

    def df(self, root: Array, wanted: Flags) -> Array:
        """Satterthwaite's degrees of freedom of the wanted terms (p,), the others' NaN; root (p, p) of the inverse."""
        spread = self.squares + (self.crossed**2).sum(axis=(1, 2)) - self.fourth
        unknown = (self.alone > _LOST * (root[wanted] ** 2).sum(axis=1)) | (self.trace <= 0) | (spread <= 0)
        found = np.full(len(root), np.nan)
        found[wanted] = np.where(unknown, 0.0, self.trace**2 / np.where(unknown, 1.0, spread))
        return found


def cr2_at_speed(
    design: Array,
    residual: Array,
    rider: Codes,
    bread: Array,
    *,
    joint_up_to: int = JOINT_UP_TO,
    wanted: Flags | None = None,
) -> Sandwich:
    """cluster_robust.cr2_of_rows, the same for up to `joint_up_to` riders; beyond, the same covariance and nearly the same df.

    design: (n, p) and residual: (n,), whitened; rider: codes 0 to riders - 1, shape (n,); bread: (design'design)^-1. Beyond,
    the df differ by about one part in themselves. wanted (p,): the terms whose df are asked for, all where None; others' NaN.
    """
    root = root_of(bread)
    asked = np.ones(len(root), dtype=bool) if wanted is None else wanted
    tally = Tally(int(asked.sum()), len(root))
    n_riders = int(rider.max(initial=-1)) + 1
    joint = n_riders <= joint_up_to
    for riders, rows in _padded_stacks(rider) if joint else stacks_of_riders(rider):
        tally.riders.append(riders)
        none = rows < 0
        scaled = design.take(np.where(none, 0, rows).ravel(), axis=0).reshape(*rows.shape, len(root)) @ root
        scaled[none] = 0.0
        tally.adjusted.append(add_riders(tally, scaled, np.where(none, 0.0, residual[rows]), root[asked], joint))
    influence = np.empty((n_riders, len(root)))
    influence[np.concatenate(tally.riders)] = np.concatenate(tally.adjusted) @ root.T
    return Sandwich(influence, cross_product(influence, influence), tally.df(root, asked))


def _padded_stacks(rider: Codes) -> Iterator[tuple[Codes, Codes]]:
    """Riders (b,) with about equally many rows, and their row numbers (b, most rows), -1 beyond a rider's own.

    A row of zeros has no leverage and adds nothing; few riders in few stacks cost far less than in many small ones.
    """
    order = np.argsort(rider, kind="stable")
    sizes = np.bincount(rider)
    first = np.cumsum(sizes) - sizes
    steps = 2 ** np.maximum(np.floor(np.log2(np.maximum(sizes, 1))).astype(np.int64) - 1, 0)
    padded = -(-sizes // steps) * steps
    for size in np.unique(padded):
        riders = np.flatnonzero(padded == size)
        place = np.arange(int(size))
        for start in range(0, len(riders), step := max(1, _ROWS_AT_A_TIME // max(int(size), 1))):
            here = riders[start : start + step]
            own = np.minimum(first[here][:, None] + place, len(order) - 1)
            yield here, np.where(place < sizes[here][:, None], order[own], -1)


def add_riders(tally: Tally, scaled: Array, residual: Array, of_term: Array, joint: bool) -> Array:
    """Adds riders with scaled rows S (riders, rows, p) and residuals e (riders, rows); gives their adjusted scores (riders, p).

    of_term (wanted, p): rows of the root. Adjusted scores are S'(1 - SS')^-1/2 e; with G = S of_term', what ties a rider
    to the others is S'(1 - SS')^-1/2 G, and its own part of the working variance is the sum of G squared.
    """
    leverage = np.einsum("grp,grp->g", scaled, scaled)
    weights = scaled @ of_term.T
    diagonal = np.einsum("grl,grl->gl", weights, weights)
    adjusted = np.empty((len(scaled), scaled.shape[2]))
    alone_too = np.concatenate([residual[:, :, None], weights], axis=2)
    little = (leverage <= LITTLE) & (not joint)
    for chosen, method in ((~little & (leverage <= _MUCH), _by_series), (~little & (leverage > _MUCH), _by_eigenvectors)):
        if chosen.any():
            found, alone = method(scaled[chosen], alone_too[chosen])
            adjusted[chosen], tied = found[:, :, 0], found[:, :, 1:]
            diagonal[chosen] -= alone[:, 1:]
            tally.alone += alone[:, 1:].sum(axis=0)
            by_term = np.ascontiguousarray(tied.transpose(2, 0, 1))
            tally.crossed += cross_product(by_term, by_term)
            tally.fourth += ((tied**2).sum(axis=1) ** 2).sum(axis=0)
    if little.any():
        adjusted[little] = _by_products(scaled[little], residual[little])
    tally.trace += diagonal.sum(axis=0)
    tally.squares += (diagonal**2).sum(axis=0)
    return adjusted


def _factors(n_terms: int) -> list[float]:
    """Ratios of successive coefficients of (1 - s)^-1/2 = 1 + s/2 + 3 s^2/8 + ..., last first."""
    return [(2 * k - 1) / (2 * k) for k in range(n_terms, 0, -1)]


def _by_products(scaled: Array, residual: Array) -> Array:
    """Adjusted scores (riders, p) for little leverage, by products with a vector only."""
    back = scaled.transpose(0, 2, 1)
    scores = back @ residual[:, :, None]
    adjusted = scores
    for factor in _factors(_TERMS_FOR_LITTLE):
        adjusted = scores + factor * (back @ (scaled @ adjusted))
    return np.asarray(adjusted[:, :, 0])


def _sides(scaled: Array, columns: Array) -> tuple[Array, Array, bool]:
    """The leverage on the smaller side, of rows or of terms, and the columns (riders, rows, m) brought to it."""
    back = scaled.transpose(0, 2, 1)
    if scaled.shape[1] > scaled.shape[2]:
        return back @ scaled, back @ columns, True
    return scaled @ back, columns, False


def _by_series(scaled: Array, columns: Array) -> tuple[Array, Array]:
    """S'(1 - SS')^-1/2 columns (riders, p, m); and (riders, m) zeros: no direction is one rider's alone."""
    leverage, brought, on_terms = _sides(scaled, columns)
    found = brought
    for factor in _factors(_TERMS_UP_TO_MUCH):
        found = brought + factor * (leverage @ found)
    found = found if on_terms else scaled.transpose(0, 2, 1) @ found
    return found, np.zeros((len(scaled), columns.shape[2]))


def _by_eigenvectors(scaled: Array, columns: Array) -> tuple[Array, Array]:
    """The same for any leverage, without the directions that a rider carries alone; and the columns' squares in those."""
    leverage, brought, on_terms = _sides(scaled, columns)
    values, vectors = np.linalg.eigh(leverage)
    kept = (values < _ALONE)[:, :, None]
    turned = vectors.transpose(0, 2, 1) @ brought
    factor = 1.0 / np.sqrt(np.where(kept, 1.0 - values[:, :, None], np.inf))
    found = vectors @ (factor * turned)
    return found if on_terms else scaled.transpose(0, 2, 1) @ found, (turned**2 * ~kept).sum(axis=1)

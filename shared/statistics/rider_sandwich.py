"""CR2 of whitened rows, in stacks of riders with equally many rows; for many riders without their p x p shares.

The same covariance as `cluster_robust`, whose formulas it follows; METHODS.md, "Clustered covariance at speed".
"""

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from shared.statistics.cluster_robust import Sandwich, cr2_from_parts

Array = NDArray[np.float64]
Codes = NDArray[np.int64]

# Above this many riders what ties low-leverage riders to one another is left out of the degrees of freedom: 1 part in df.
_JOINT_UP_TO = 2000
# Total leverage of one rider above which its adjustment is exact rather than a series cut after the third power.
_SERIES_UP_TO = 0.1
# The same limits as cluster_robust: a direction that one rider carries alone, and the share of it that a term survives.
_ALONE = 1 - 1e-8
_LOST = 1e-6
_ROWS_AT_A_TIME = 16_000


@dataclass
class _Tally:
    """Adjusted scores by stack, and by term the sums that make the degrees of freedom."""

    p: int
    adjusted: list[Array] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.trace, self.squares, self.alone = np.zeros(self.p), np.zeros(self.p), np.zeros(self.p)
        self.crossed, self.fourth = np.zeros((self.p, self.p, self.p)), np.zeros(self.p)


def cr2_of_rows(x: Array, residual: Array, rider: Codes, root: Array) -> Sandwich:
    """CR2 from whitened rows x (n, p) and residual (n,); rider: codes 0 to riders - 1, shape (n,); root: of (x'x)^-1."""
    order = np.argsort(rider, kind="stable")
    first = np.r_[0, np.cumsum(np.bincount(rider))]
    by_size = np.argsort(np.diff(first), kind="stable")
    stacks = _stacks(x, residual, order, first, by_size, root)
    if len(by_size) <= _JOINT_UP_TO:
        found = cr2_from_parts(((s.transpose(0, 2, 1) @ s, (e[:, None, :] @ s)[:, 0]) for s, e in stacks), root)
    else:
        found = _many(stacks, root)
    influence = np.empty_like(found.influence)
    influence[by_size] = found.influence
    return Sandwich(influence, found.covariance, found.df)


def _stacks(
    x: Array, residual: Array, order: Codes, first: Codes, by_size: Codes, root: Array
) -> Iterator[tuple[Array, Array]]:
    """Rows times root (riders, rows, p) and residuals (riders, rows), riders in the order of by_size, cache by cache."""
    sizes = np.diff(first)[by_size]
    for size in np.unique(sizes):
        chosen = by_size[np.searchsorted(sizes, size) : np.searchsorted(sizes, size, side="right")]
        step = max(1, _ROWS_AT_A_TIME // int(size))
        for begin in range(0, len(chosen), step):
            rows = order[first[chosen[begin : begin + step]][:, None] + np.arange(size)]
            yield (x.take(rows.ravel(), axis=0) @ root).reshape(*rows.shape, -1), residual[rows]


def _many(stacks: Iterator[tuple[Array, Array]], root: Array) -> Sandwich:
    tally = _Tally(len(root))
    for scaled, residual in stacks:
        special = np.einsum("grp,grp->g", scaled, scaled) > _SERIES_UP_TO
        adjusted = np.empty((len(scaled), len(root)))
        diagonal = np.einsum("grl,grl->gl", terms := scaled @ root.T, terms)
        adjusted[~special] = _by_series(scaled[~special], residual[~special])
        if special.any():
            adjusted[special], diagonal[special] = _exact(tally, scaled[special], residual[special], root)
        tally.adjusted.append(adjusted)
        tally.trace += diagonal.sum(axis=0)
        tally.squares += (diagonal**2).sum(axis=0)
    influence = np.concatenate(tally.adjusted) @ root.T
    spread = tally.squares + (tally.crossed**2).sum(axis=(1, 2)) - tally.fourth
    unknown = (tally.alone > _LOST * (root**2).sum(axis=1)) | (tally.trace <= 0) | (spread <= 0)
    df = np.where(unknown, 0.0, tally.trace**2 / np.where(unknown, 1.0, spread))
    return Sandwich(influence, influence.T @ influence, df)


def _by_series(scaled: Array, residual: Array) -> Array:
    """(1 - S'S)^-1/2 S'e of each rider (riders, p): 1 + s/2 + 3 s^2/8 + 5 s^3/16, from the inside."""
    back = scaled.transpose(0, 2, 1)
    scores = back @ residual[:, :, None]
    adjusted = scores
    for factor in (5 / 6, 3 / 4, 1 / 2):
        adjusted = scores + factor * (back @ (scaled @ adjusted))
    return np.asarray(adjusted[:, :, 0])


def _exact(tally: _Tally, scaled: Array, residual: Array, root: Array) -> tuple[Array, Array]:
    """Adjusted scores and diagonal (riders, p) by the eigenvectors of the leverage; their joint part goes to the tally."""
    narrow = scaled.shape[1] > scaled.shape[2]
    values, turn = np.linalg.eigh(scaled.transpose(0, 2, 1) @ scaled if narrow else scaled @ scaled.transpose(0, 2, 1))
    values = np.clip(values, 0.0, 1.0)[:, :, None]
    kept = values < _ALONE
    factor = np.where(kept, 1.0 / np.sqrt(np.where(kept, 1 - values, 1.0)), 0.0)
    across = turn.transpose(0, 2, 1)
    # From the side of terms or from that of rows: what leads back to terms, the turned scores, and the turned weights.
    if narrow:
        back, score, terms = turn, across @ (scaled.transpose(0, 2, 1) @ residual[:, :, None]), across @ root.T
        weights, squares = values * terms, values * terms**2
    else:
        back, score, terms = scaled.transpose(0, 2, 1) @ turn, across @ residual[:, :, None], across @ (scaled @ root.T)
        weights, squares = terms, terms**2
    joint = back @ (factor * weights)
    by_term = joint.transpose(2, 0, 1)
    tally.crossed += by_term.transpose(0, 2, 1) @ by_term
    tally.fourth += ((joint**2).sum(axis=1) ** 2).sum(axis=0)
    tally.alone += (~kept * squares).sum(axis=(0, 1))
    return (back @ (factor * score))[:, :, 0], (kept * squares).sum(axis=1)

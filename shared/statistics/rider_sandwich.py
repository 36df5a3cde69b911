"""CR2 for many riders at speed: the covariance of `cluster_robust` without each rider's p x p share.

Formulas and what is left out: METHODS.md, "The pooled model at speed".
"""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from shared.statistics.cluster_robust import Sandwich, cr2_of_rows, root_of, stacks_of_riders

Array = NDArray[np.float64]
Codes = NDArray[np.int64]

# Above this many riders what ties low-leverage riders to one another is left out of the degrees of freedom: 1 part in df.
_JOINT_UP_TO = 2000
# Total leverage of one rider above which its adjustment is exact rather than a series cut after the third power.
_SERIES_UP_TO = 0.05
# The same limits as cluster_robust: a direction that one rider carries alone, and the share of it that a term survives.
_ALONE = 1 - 1e-8
_LOST = 1e-6


@dataclass
class _Tally:
    """Riders and their adjusted scores by stack, and by term the sums that make the degrees of freedom."""

    p: int
    riders: list[Codes] = field(default_factory=list)
    adjusted: list[Array] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.trace, self.squares, self.alone = np.zeros(self.p), np.zeros(self.p), np.zeros(self.p)
        self.crossed, self.fourth = np.zeros((self.p, self.p, self.p)), np.zeros(self.p)


def cr2_at_speed(design: Array, residual: Array, rider: Codes, bread: Array, *, joint_up_to: int = _JOINT_UP_TO) -> Sandwich:
    """cluster_robust.cr2_of_rows for up to `joint_up_to` riders; beyond, the same covariance and nearly the same df.

    design: (n, p) and residual: (n,), whitened; rider: codes 0 to riders - 1, shape (n,); bread: (design'design)^-1. The
    covariance differs by the series' cut (below 2e-6 of the adjustment), the df by a part in themselves.
    """
    if int(rider.max(initial=-1)) < joint_up_to:
        return cr2_of_rows(design, residual, rider, bread)
    root = root_of(bread)
    tally = _Tally(len(root))
    for riders, rows in stacks_of_riders(rider):
        tally.riders.append(riders)
        scaled = (design.take(rows.ravel(), axis=0) @ root).reshape(*rows.shape, len(root))
        _add(tally, scaled, residual[rows], root)
    influence = np.empty((int(rider.max()) + 1, len(root)))
    influence[np.concatenate(tally.riders)] = np.concatenate(tally.adjusted) @ root.T
    spread = tally.squares + (tally.crossed**2).sum(axis=(1, 2)) - tally.fourth
    unknown = (tally.alone > _LOST * (root**2).sum(axis=1)) | (tally.trace <= 0) | (spread <= 0)
    df = np.where(unknown, 0.0, tally.trace**2 / np.where(unknown, 1.0, spread))
    return Sandwich(influence, influence.T @ influence, df)


def _add(tally: _Tally, scaled: Array, residual: Array, root: Array) -> None:
    """Adds riders with scaled rows (riders, rows, p) and residuals (riders, rows) to the tally."""
    special = np.einsum("grp,grp->g", scaled, scaled) > _SERIES_UP_TO
    terms = scaled @ root.T
    diagonal = np.einsum("grl,grl->gl", terms, terms)
    adjusted = np.empty((len(scaled), len(root)))
    adjusted[~special] = _by_series(scaled[~special], residual[~special])
    if special.any():
        adjusted[special], diagonal[special] = _exact(tally, scaled[special], residual[special], root)
    tally.adjusted.append(adjusted)
    tally.trace += diagonal.sum(axis=0)
    tally.squares += (diagonal**2).sum(axis=0)


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

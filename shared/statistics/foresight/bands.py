"""Bands that are kept honest: a model's predictive distribution, brought to its level on riders held out whole.

A model's own bands hold if the model does. How far out of the middle of its distribution each held-out capture fell is known;
the band is made as wide as the stated share of riders asks for. One rider is one witness, however many captures.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from shared.errors import TooFewError

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True)
class Spread:
    """A predictive distribution of a signed outcome, each (n,): normal about `mean` with `sd`; or, where `is_distance`, of its
    distance from zero."""

    mean: Floats
    sd: Floats
    is_distance: bool = False

    def below(self, value: Floats) -> Floats:
        """The share of the distribution below each value (n,)."""
        if not self.is_distance:
            return np.asarray(stats.norm.cdf(value, self.mean, self.sd))
        at_most = np.maximum(value, 0.0)
        return np.asarray(stats.norm.cdf(at_most, self.mean, self.sd) - stats.norm.cdf(-at_most, self.mean, self.sd))

    def expected(self) -> Floats:
        """The mean of the distribution (n,). Source: Leone, Nelson & Nottingham 1961, Technometrics 3:543 (folded normal)."""
        if not self.is_distance:
            return self.mean
        ratio = self.mean / self.sd
        return np.asarray(self.sd * np.sqrt(2 / np.pi) * np.exp(-(ratio**2) / 2) + self.mean * (1 - 2 * stats.norm.cdf(-ratio)))

    def quantile(self, share: Floats | float) -> Floats:
        """The value that `share` of the distribution lies below (n,)."""
        if not self.is_distance:
            return np.asarray(stats.norm.ppf(share, self.mean, self.sd))
        low, high = np.zeros_like(self.mean), np.abs(self.mean) + 40 * self.sd
        for _ in range(_HALVINGS):
            middle = (low + high) / 2
            is_below = self.below(middle) < share
            low, high = np.where(is_below, middle, low), np.where(is_below, high, middle)
        return np.asarray((low + high) / 2)


# Of a search between bounds: to a billionth of its width.
_HALVINGS = 30


@dataclass(frozen=True)
class Witnesses:
    """How far out captures of held-out riders fell: `outness` (n,), 0 the middle of what was foreseen and 1 its very end, and
    `rider` (n,) whose each is."""

    outness: Floats
    rider: Ints

    @property
    def n_riders(self) -> int:
        return len(np.unique(self.rider))

    def of(self, kept: NDArray[np.bool_]) -> "Witnesses":
        return Witnesses(self.outness[kept], self.rider[kept])


def outness(spread: Spread, measured: Floats) -> Floats:
    """How far from the middle of what was foreseen each capture fell (n,), 0 to 1."""
    return np.abs(2 * spread.below(measured) - 1)


@dataclass(frozen=True)
class Reaches:
    """How far out bands of any level must reach: `outness` (n,) from the middle outward, and the share of riders, the one
    to come among them, that lies no further out, `held` (n,)."""

    outness: Floats
    held: Floats

    def at(self, level: float) -> float:
        """How far out, 0 to 1, so that a band of `level` holds the next capture of a new rider."""
        # Sums of shares miss the level by rounding where they reach it.
        place = int(np.searchsorted(self.held, level - 1e-12))
        return float(self.outness[place]) if place < len(self.outness) else 1.0


def reaches_of(witnesses: Witnesses, level: float) -> Reaches:
    """What bands of about `level` follow from; each rider's captures count together as one.

    Raises TooFewError where there are too few riders for the level. Sources: Chernozhukov, Wüthrich & Zhu 2021, PNAS
    118:e2107794118 (distributional conformal prediction); Dunn, Wasserman & Ramdas 2023, J Am Stat Assoc 118:2491 (rows of
    riders pooled by weight).
    """
    _, place, n_own = np.unique(witnesses.rider, return_inverse=True, return_counts=True)
    n_riders = len(n_own)
    least = int(np.ceil(level / (1 - level) - 1e-9))
    if n_riders < least:
        raise TooFewError(f"Not enough yet: {n_riders} riders seen before; a band needs {least}.")
    order = np.argsort(witnesses.outness, kind="stable")
    return Reaches(witnesses.outness[order], np.cumsum(1 / n_own[place[order]]) / (n_riders + 1))


def band(spread: Spread, reach: Floats | float) -> tuple[Floats, Floats]:
    """The ends of the band (n,) that reaches so far, 0 to 1, out of the middle of what is foreseen."""
    # The very end of a normal distribution is nowhere.
    share = np.minimum(reach, 1 - 1e-9)
    return spread.quantile((1 - share) / 2), spread.quantile((1 + share) / 2)

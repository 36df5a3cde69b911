"""One yes-or-no finding of the same people, before and after."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from statsmodels.stats.contingency_tables import mcnemar

from shared.errors import TooFewError
from shared.statistics.proportions import wilson_interval


@dataclass(frozen=True)
class PairedShares:
    """Counts of people: `persisting` yes twice, `resolved` yes then no, `new` no then yes, `none` no twice.

    `difference` is the later share less the earlier one, with its interval; `p_value` is McNemar's, exact.
    """

    resolved: int
    persisting: int
    new: int
    none: int
    share_before: float
    share_after: float
    difference: float
    low: float
    high: float
    p_value: float

    @property
    def n(self) -> int:
        return self.resolved + self.persisting + self.new + self.none


def paired_change(before: NDArray[np.bool_], after: NDArray[np.bool_], level: float) -> PairedShares:
    """Counts and test from one row a person, shape (n,). Raises TooFewError for nobody. Not for several rows of one person."""
    resolved, persisting, new, none = (
        int(np.count_nonzero(chosen)) for chosen in (before & ~after, before & after, ~before & after, ~before & ~after)
    )
    return paired_shares(resolved, persisting, new, none, level)


def paired_shares(resolved: int, persisting: int, new: int, none: int, level: float) -> PairedShares:
    """The change between two shares of the same people, from the four counts.

    The p-value asks whether as many became new as resolved (binomial on those who changed). The interval of the
    difference joins both Wilson intervals by the correlation of the pairs. Raises TooFewError for nobody.
    Sources: McNemar 1947, Psychometrika 12:153; Newcombe 1998, Stat Med 17:2635, method 10.
    """
    n = resolved + persisting + new + none
    if n == 0:
        raise TooFewError("Not enough yet: nobody was seen both times, and a change needs at least 1.")
    yes = np.array([persisting + new, persisting + resolved])
    shares = wilson_interval(yes, np.array([n, n]), level)
    after, before = (float(share) for share in shares.estimate)
    below, above = shares.estimate - shares.low, shares.high - shares.estimate
    phi = _correlation(resolved, persisting, new, none)
    down = _joined(below[0], above[1], phi)
    up = _joined(above[0], below[1], phi)
    p_value = float(mcnemar([[persisting, resolved], [new, none]], exact=True).pvalue)
    difference = after - before
    return PairedShares(
        resolved, persisting, new, none, before, after, difference, difference - down, difference + up, min(1.0, p_value)
    )


def _joined(one: float, other: float, phi: float) -> float:
    return float(max(0.0, one**2 - 2 * phi * one * other + other**2) ** 0.5)


def _correlation(resolved: int, persisting: int, new: int, none: int) -> float:
    """Phi of the four counts, its numerator drawn toward zero by half of n where it is positive (Newcombe's method 10)."""
    n = resolved + persisting + new + none
    margins = float(persisting + resolved) * (new + none) * (persisting + new) * (resolved + none)
    if margins == 0:
        return 0.0
    crossed = float(persisting * none - resolved * new)
    drawn = max(0.0, crossed - n / 2) if crossed > 0 else crossed
    return float(drawn / margins**0.5)

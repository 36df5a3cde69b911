"""Shares of independent people: Wilson's interval, and the difference of two groups."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from statsmodels.stats.proportion import confint_proportions_2indep, proportion_confint, score_test_proportions_2indep

from shared.errors import TooFewError

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Shares:
    """Estimates with the ends of their intervals, each of shape (groups,): shares, or differences of shares."""

    estimate: Floats
    low: Floats
    high: Floats


def wilson_interval(events: Any, n: Any, level: float) -> Shares:
    """Shares from counts, each with Wilson's interval: inside 0 to 1 where the normal one is not.

    events, n: whole numbers, shape (groups,), counts of people (not visits); level between 0 and 1.
    Raises TooFewError if any n is 0. Not for repeated visits of one person: use clustered_share.
    Source: Wilson 1927, J Am Stat Assoc 22:209.
    """
    x, total = _counts(events, n)
    low, high = proportion_confint(x, total, alpha=1 - level, method="wilson")
    return Shares(x / total, np.clip(low, 0.0, 1.0), np.clip(high, 0.0, 1.0))


def share_difference(events: Any, n: Any, other_events: Any, other_n: Any, level: float) -> Shares:
    """Share of one group less the share of another, by the hybrid of both Wilson intervals; shapes (groups,).

    Raises TooFewError if any n is 0. Not for two shares of the same people: use paired_shares.
    Source: Newcombe 1998, Stat Med 17:873, method 10.
    """
    x, total = _counts(events, n)
    other_x, other_total = _counts(other_events, other_n)
    low, high = confint_proportions_2indep(x, total, other_x, other_total, method="newcomb", compare="diff", alpha=1 - level)
    return Shares(x / total - other_x / other_total, np.asarray(low), np.asarray(high))


def share_difference_p(events: int, n: int, other_events: int, other_n: int) -> float:
    """Two-sided p-value of no difference between the shares of two groups of people, by the score test without correction.

    Raises TooFewError if n is 0. Source: Farrington & Manning 1990, Stat Med 9:1447; at no difference Pearson's chi-squared.
    """
    _counts([events, other_events], [n, other_n])
    if events + other_events in (0, n + other_n):
        return 1.0
    return float(score_test_proportions_2indep(events, n, other_events, other_n, compare="diff", correction=False)[1])


def _counts(events: Any, n: Any) -> tuple[Floats, Floats]:
    x, total = np.atleast_1d(np.asarray(events, float)), np.atleast_1d(np.asarray(n, float))
    if (total == 0).any():
        raise TooFewError("Not enough yet: nobody is counted, and a share needs at least 1.")
    return x, total

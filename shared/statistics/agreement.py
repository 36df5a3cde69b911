"""How much a measurement differs from itself: typical error, smallest real change, limits of agreement."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from shared.errors import TooFewError


@dataclass(frozen=True)
class RepeatAgreement:
    """All in the unit of the differences; each `_low` and `_high` is the end of an interval."""

    n_pairs: int
    typical_error: float
    typical_error_low: float
    typical_error_high: float
    mdc95: float
    mean_difference: float
    mean_difference_low: float
    mean_difference_high: float
    sd_difference: float
    limit_low: float
    limit_high: float
    limit_error: float


def typical_error(differences: NDArray[np.float64], level: float) -> RepeatAgreement:
    """Agreement of repeat pairs from their differences, shape (n,), later less earlier.

    Typical error = SD / sqrt(2), with a chi-square interval; MDC95 = 1.96 sqrt(2) typical error; limits of agreement =
    mean +- 1.96 SD, each with standard error sqrt(3 SD^2 / n) (`limit_error`). The mean is removed from the SD: a drift
    is told beside it, not in it. Raises TooFewError for fewer than three pairs.
    Sources: Hopkins 2000, Sports Med 30:1; Weir 2005, J Strength Cond Res 19:231; Bland & Altman 1986, Lancet i:307.
    Not for pairs between which something was changed.
    """
    n = len(differences)
    if n < 3:
        raise TooFewError(f"Not enough yet: {n} repeat pairs, and a typical error needs at least 3.")
    mean, sd = float(differences.mean()), float(differences.std(ddof=1))
    error = sd / 2**0.5
    tail = (1 - level) / 2
    wider, narrower = (((n - 1) / stats.chi2.ppf(q, n - 1)) ** 0.5 for q in (tail, 1 - tail))
    half = float(stats.t.ppf(1 - tail, n - 1)) * sd / n**0.5
    return RepeatAgreement(
        n_pairs=n,
        typical_error=error,
        typical_error_low=error * float(narrower),
        typical_error_high=error * float(wider),
        mdc95=1.96 * 2**0.5 * error,
        mean_difference=mean,
        mean_difference_low=mean - half,
        mean_difference_high=mean + half,
        sd_difference=sd,
        limit_low=mean - 1.96 * sd,
        limit_high=mean + 1.96 * sd,
        limit_error=(3 * sd**2 / n) ** 0.5,
    )

"""Spreads of several sources compared, and each drawn toward the whole by how little it tells on its own."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats
from scipy.special import digamma, polygamma

from shared.statistics.multiplicity import benjamini_hochberg
from shared.statistics.pooling import combine_types

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Spreads:
    """sd (k,): each source's own, drawn toward the whole; usual: of a source not yet known, both in the unit given.

    p_value: of no difference between the sources. ratio (k,) of each to the others, with interval and q-value.
    """

    sd: Array
    usual: float
    p_value: float
    ratio: Array
    ratio_low: Array
    ratio_high: Array
    q_value: Array


def shrunken_spreads(sd: Array, df: Array, level: float, most: float = 1.0) -> Spreads:
    """Random-effects combination of log variances: sd (k,), each on df (k,) degrees of freedom; level of the intervals.

    The log of a variance is nearly normal about its true value with variance trigamma(df/2), its bias digamma(df/2) - log(df/2)
    taken off (Bartlett & Kendall 1946, J R Stat Soc Suppl 8:128). Shrunk by moments (Paule & Mandel: `combine_types`), and no
    source by more than `most` of its own standard errors, so that one that truly stands apart is not drawn in (limited
    translation: Efron & Morris 1972, J Am Stat Assoc 67:130). Each is compared with the weighted mean of the others, normal,
    Benjamini-Hochberg over the sources. Raises TooFewError for fewer than two sources, NotEstimableError where a spread is 0.
    Not for a handful of values a source: below about ten degrees of freedom the normal form is rough.
    """
    with np.errstate(divide="ignore"):
        log_variance = 2 * np.log(sd) - (digamma(df / 2) - np.log(df / 2))
    error = np.sqrt(polygamma(1, df / 2))
    together = combine_types(log_variance, np.where(sd > 0, error, 0.0), level)
    shrunk = np.clip(together.shrunk, log_variance - most * error, log_variance + most * error)
    weight = error**-2.0
    others = weight.sum() - weight
    difference = log_variance - (weight @ log_variance - weight * log_variance) / others
    difference_error = np.hypot(error, others**-0.5)
    z = float(stats.norm.ppf(0.5 + level / 2))
    p_values = 2 * stats.norm.sf(np.abs(difference) / difference_error)
    low, high = difference - z * difference_error, difference + z * difference_error
    return Spreads(
        sd=np.exp(shrunk / 2),
        usual=float(np.exp(together.overall / 2)),
        p_value=together.q_p_value,
        ratio=np.exp(difference / 2),
        ratio_low=np.exp(low / 2),
        ratio_high=np.exp(high / 2),
        q_value=np.array(benjamini_hochberg(list(p_values))),
    )

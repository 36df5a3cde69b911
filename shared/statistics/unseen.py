"""What was seen of some and not of others: bounds that assume nothing of the unseen, and weights by what is known of both."""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.special import ndtr

from shared.errors import TooFewError
from shared.statistics.case_mix import expected_share
from shared.statistics.clustered.means import Estimate, clustered_mean, clustered_share, small_codes
from shared.statistics.wording import counted

Array = NDArray[np.float64]
Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]

# The share of weights at each end that are drawn in to the next one (Cole & Hernan 2008).
_TRIMMED = 0.01
# What is left of a column, by the largest, below which it is rounding.
_TIED = 1e-9


@dataclass(frozen=True)
class Bounds:
    """The mean of all rows if every unseen one had the lowest value, and the highest; `interval_low` and `interval_high` hold
    the true mean with the level asked for, whatever the unseen rows are."""

    low: float
    high: float
    interval_low: float
    interval_high: float


def bounds_of_mean(values: Array, rider: Ints, ends: tuple[float, float], level: float, *, is_share: bool) -> Bounds:
    """Bounds of the mean of `values` (n,), NaN where not seen, each of which lies between the two `ends`.

    The interval reaches over both bounds by chance alone: the truth is at one of them at most, so that little more than one
    side needs guarding where they are far apart. Rows come in clusters by `rider`; shares by Wilson's interval.
    Raises TooFewError for fewer than two riders.
    Sources: Manski 2003, Partial Identification of Probability Distributions, ch. 1; Imbens & Manski 2004, Econometrica
    72:1845.
    """
    seen = np.isfinite(values)
    compute: Callable[[Array, Ints, float], Estimate] = clustered_share if is_share else clustered_mean
    lowest, highest = (np.where(seen, values, end) for end in ends)
    wide = max(error_of(lowest, rider), error_of(highest, rider))
    gap = float(highest.mean() - lowest.mean())
    within = 2 * float(ndtr(critical_value(gap / wide if wide > 0 else 0.0, level))) - 1
    low, high = compute(lowest, rider, within), compute(highest, rider, within)
    return Bounds(low.estimate, high.estimate, max(low.low, ends[0]), min(high.high, ends[1]))


def critical_value(gap: float, level: float) -> float:
    """c for which the chance of gap + c less that of -c is `level`; gap: how far apart the bounds are, in standard errors."""
    return float(brentq(lambda c: ndtr(c + gap) - ndtr(-c) - level, 0.0, 10.0))


def error_of(values: Array, rider: Ints) -> float:
    """The standard error of a mean of rows that come in clusters by rider."""
    codes = small_codes(rider)
    sums = np.bincount(codes, weights=values - values.mean())
    n_riders = int(np.count_nonzero(np.bincount(codes)))
    if n_riders < 2:
        raise TooFewError(f"Not enough yet: {counted(n_riders, 'rider')}, and an interval needs at least 2.")
    return float(np.sqrt(sums @ sums * n_riders / (n_riders - 1)) / len(values))


def weights_of_seen(seen: Flags, design: Array, terms: tuple[str, ...]) -> Array:
    """How many rows each seen one stands for, (n,), 0 for an unseen one: the share seen over its own chance to be seen.

    The chance by logistic regression on design (n, p), intercept included (`expected_share`, whose refusals it hands on). The
    largest and smallest hundredth are drawn in to the next weight. All ones where every row was seen.
    Sources: Robins, Hernan & Brumback 2000, Epidemiology 11:550 (stabilised weights); Cole & Hernan 2008, Am J Epidemiol
    168:656 (drawn in).
    """
    if seen.all():
        return np.ones(len(seen))
    chance = expected_share(seen.astype(float), design, terms).expected
    weight = float(seen.mean()) / chance
    least, most = np.quantile(weight[seen], (_TRIMMED, 1 - _TRIMMED))
    return np.where(seen, np.clip(weight, least, most), 0.0)


def mean_if_alike(values: Array, weight: Array, design: Array, rider: Ints, level: float) -> Estimate:
    """The mean of all rows if unseen ones answer as seen ones alike in `design` (n, p) do; `values` (n,), NaN where not seen.

    Weighted least squares of the seen values on the design, by the weights of weights_of_seen, foretells every row; what the
    seen rows leave, weighed, is added (augmented inverse-probability weighting: right where either the chances or the straight
    lines are). The interval is that of a mean of these rows, with riders as clusters.
    Raises TooFewError for fewer than two riders.
    Sources: Robins, Rotnitzky & Zhao 1994, J Am Stat Assoc 89:846; Kang & Schafer 2007, Stat Sci 22:523.
    """
    seen = np.isfinite(values)
    root = np.sqrt(weight[seen])[:, None]
    # Columns that do not differ among the seen, or are tied there, say nothing more.
    left, size, right = np.linalg.svd(design[seen] * root, full_matrices=False)
    kept = size > _TIED * size[0]
    left = left[:, kept]
    slopes = right[kept].T @ ((left.T @ (values[seen] * root[:, 0])) / size[kept])
    foretold = design @ slopes
    scale = weight[seen] * (len(values) / float(weight.sum()))
    residual = values[seen] - foretold[seen]
    # A row that draws the line to itself is left with a residual too small: for the interval each is judged by the others'
    # line.
    alone = residual / np.maximum(1 - (left**2).sum(axis=1), _TIED)
    # What the seen rows leave of a fit with an intercept by the same weights sums to nothing.
    estimate = float(foretold.mean())
    told = foretold.copy()
    told[seen] += scale * alone
    found = clustered_mean(told, rider, level)
    half = (found.high - found.low) / 2
    return replace(found, estimate=estimate, low=estimate - half, high=estimate + half)

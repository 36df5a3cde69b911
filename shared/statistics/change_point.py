"""Has a figure moved: one step in the mean of calendar periods, at a date that nobody knew, against all that came before it.

The change-point model of Hawkins, Qiu & Kang 2003 (J Qual Technol 35:355): every date is tried as that of a step, and what is
before and after it compared; no mean and no spread is taken as known. Periods are weighed by their rows.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import roots_legendre, stdtr

from shared.errors import NotEstimableError, TooFewError
from shared.statistics.wording import counted

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

_FEWEST_PERIODS = 5
# What is left of a sum of squares, by its own size, below which it is rounding.
_ROUNDING = 1e-12
_NODES, _WEIGHTS = roots_legendre(12)


@dataclass(frozen=True)
class Step:
    """The step that stands out most: `first` is its first period (by number), `before` and `after` the means of the rows.

    p_value: the chance of one as large, at whatever date, where nothing moved.
    """

    first: int
    before: float
    after: float
    p_value: float


def largest_step(values: Array, period: Ints, rider: Ints, fewest_before: int, *, is_share: bool, wanted: float) -> Step:
    """The step of the mean of `values` (n,), each of its `period` (n,), with the chance of one as large by nothing.

    rider: codes from 0, (n,); fewest_before: the earliest step leaves so many periods with rows before it, those of the base;
    is_share: values are 0 or 1. Two errors are asked, and the larger p-value holds: that by the scatter of the periods about
    the means before and after, which knows what all rows of a period share; and that by riders, whose rows resemble one another
    from period to period. The latter is asked only where the former gives a p-value below `wanted`, since it can only raise it.
    Raises TooFewError where fewer than 5 periods have rows or none is after the base, NotEstimableError where no two rows
    differ.
    """
    numbers, at = np.unique(period, return_inverse=True)
    if len(numbers) < max(_FEWEST_PERIODS, fewest_before + 1):
        raise TooFewError(f"Not enough yet: {counted(len(numbers), 'period')} with a figure, and none after the base.")
    n, total = np.bincount(at).astype(float), np.bincount(at, weights=values)
    tried = np.arange(fewest_before, len(numbers)) - 1
    before, after = n.cumsum()[tried], n.sum() - n.cumsum()[tried]
    low, high = total.cumsum()[tried] / before, (total.sum() - total.cumsum()[tried]) / after
    error = _error_by_periods(total / n, n, low, high, before, after)
    size = _sizes(low, high, before, after, error, is_share=is_share)
    p_value = chance_of_step(float(size.max()), before / n.sum(), len(numbers) - 2)
    if p_value < wanted:
        error, n_riders = _error_by_riders(values - values.mean(), at, rider, tried, before, after)
        own = _sizes(low, high, before, after, error, is_share=is_share)
        p_value = max(p_value, chance_of_step(float(own.max()), before / n.sum(), max(n_riders - 2, 1)))
        size = np.minimum(size, own)
    best = int(np.argmax(size))
    return Step(int(numbers[fewest_before + best]), float(low[best]), float(high[best]), p_value)


def chance_of_step(statistic: float, share_before: Array, df: int) -> float:
    """The chance that the largest |t| over all dates is at least `statistic`, where nothing moved; an upper bound, near exact.

    share_before: how much of all rows lies before each date, rising, (k,); df: of the error, n - 2 for n periods. With r² =
    t²/(df + t²) the step at a date is how far a point on a sphere in df + 1 dimensions lies along the date's direction; dates
    next to each other have directions at the angle φ. The bound adds, date by date, the chance of being beyond r here and not
    at the date before: (1/π) ∫ (1 − r²/cos²θ)^((df − 1)/2) dθ from 0 to φ/2, on either side.
    Sources: Hunter 1976, J Appl Probab 13:597; Worsley 1982, Biometrika 69:297 (improved Bonferroni inequality, its use here).
    """
    alone = 2 * float(stdtr(df, -statistic))
    square = statistic**2 / (df + statistic**2)
    odds = share_before / (1 - share_before)
    angle = np.arccos(np.minimum(1.0, np.sqrt(odds[:-1] / odds[1:])))
    theta = angle[:, None] / 4 * (1 + _NODES)
    inside = np.maximum(0.0, 1 - square / np.cos(theta) ** 2) ** ((df - 1) / 2)
    more = 2 * float((inside @ _WEIGHTS * angle / 4).sum()) / np.pi
    return min(1.0, alone + more)


def _error_by_periods(mean: Array, n: Array, low: Array, high: Array, before: Array, after: Array) -> Array:
    """Standard error of each step by the scatter of the periods' means, weighed by rows, about the means before and after."""
    whole = float(n @ mean / n.sum())
    square = float(n @ (mean - whole) ** 2)
    if square <= _ROUNDING * max(float(n @ mean**2), 1.0):
        raise NotEstimableError("No two periods differ.")
    left = square - (high - low) ** 2 * before * after / (before + after)
    return np.sqrt(np.maximum(left, _ROUNDING * square) / (len(n) - 2) * (1 / before + 1 / after))


def _error_by_riders(residual: Array, at: Ints, rider: Ints, tried: Ints, before: Array, after: Array) -> tuple[Array, int]:
    """Standard error of each step by what each rider adds to it, about the mean of all rows; and how many riders."""
    n_periods = int(at.max()) + 1
    cell, place = np.unique(rider * np.int64(n_periods) + at, return_inverse=True)
    added = np.bincount(place, weights=residual)
    of_rider, when = np.divmod(cell, n_periods)
    first = np.concatenate([[True], of_rider[1:] != of_rider[:-1]])
    start = np.flatnonzero(first)
    run = added.cumsum()
    earlier = run - added - np.repeat(run[start] - added[start], np.diff(np.append(start, len(cell))))
    whole = np.repeat(np.add.reduceat(added, start), np.diff(np.append(start, len(cell))))
    # Over riders, with b and w their sums before the date and in all: Σ b², Σ bw, Σ w²; a rider's b grows in his own periods.
    bb = np.bincount(when, weights=added * (added + 2 * earlier), minlength=n_periods).cumsum()[tried]
    bw = np.bincount(when, weights=added * whole, minlength=n_periods).cumsum()[tried]
    ww = float(whole[start] @ whole[start])
    both = 1 / before + 1 / after
    return np.sqrt(np.maximum(bb * both**2 - 2 * bw * both / after + ww / after**2, 0)), len(start)


def _sizes(low: Array, high: Array, before: Array, after: Array, error: Array, *, is_share: bool) -> Array:
    """Each step in its standard errors.

    Of shares the smaller of that and the same on the arcsine scale: near 0 or 1 a few rows go far beyond their standard error
    on the one scale, few on the other.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        size = np.nan_to_num(np.abs(high - low) / error)
    if not is_share:
        return size
    share = (low * before + high * after) / (before + after)
    binomial = np.sqrt(share * (1 - share))
    turned = np.abs(2 * np.arcsin(np.sqrt(np.clip(high, 0, 1))) - 2 * np.arcsin(np.sqrt(np.clip(low, 0, 1))))
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(np.minimum(size, np.nan_to_num(turned * binomial / error)))

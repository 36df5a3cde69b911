"""How wide a told interval may be expected to be with more riders of the same kind, and how many make it narrow enough."""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from scipy import stats

from shared.statistics.told import STRONG_FROM

# Points at which the noise of the difference of the two estimates is looked at, in its standard errors, and their weights.
_POINTS, _WEIGHTS = np.polynomial.hermite_e.hermegauss(31)
_WEIGHTS = _WEIGHTS / _WEIGHTS.sum()
# So many times the riders there are is as far as anything is foreseen.
MOST_TIMES: Final = 1_000.0
_Z95: Final = float(stats.norm.ppf(0.975))


@dataclass(frozen=True)
class Precision:
    """What is known of one support today: half widths of the intervals of both estimates, their difference (within less pooled)
    and its standard error, all in the outcome's unit; of the third estimate, where it may narrow the bracket, how far it lies
    from the pooled one, half its interval at the level that narrows, and its strength. df: degrees of freedom of both."""

    pooled_half: float
    within_half: float
    difference: float
    difference_se: float
    third_from_pooled: float | None = None
    third_half: float = 0.0
    strength: float = 0.0
    df: float = float("inf")


def expected_width(today: Precision, times: float, captures: float = 1.0) -> float:
    """The expected width of the told interval with `times` the riders, each with `captures` times the captures.

    Standard errors shrink with the root of both. What the two estimates truly differ by stays: its square is that of the
    difference seen less half of the noise in it, and zero at least (less all of it, the root is too small on average; less
    none, too large). The mean is over the noise that their difference will have then.
    """
    shrink = 1 / np.sqrt(times * captures)
    noise = shrink * today.difference_se
    # Degrees of freedom grow with the riders, and Student's t comes nearer to the normal.
    shrink *= stats.t.ppf(0.975, max(1.0, today.df * times)) / stats.t.ppf(0.975, max(1.0, today.df))
    pooled, within = shrink * today.pooled_half, shrink * today.within_half
    true = np.sqrt(max(today.difference**2 - today.difference_se**2 / 2, 0.0))
    apart = true + noise * _POINTS
    low, high = np.minimum(-pooled, apart - within), np.maximum(pooled, apart + within)
    if today.third_from_pooled is not None and today.strength * times * captures >= STRONG_FROM:
        # Where the third lies between the two, and how near to which, stays too.
        share = np.clip(today.third_from_pooled / today.difference, 0.0, 1.0) if today.difference else 0.5
        third, half = share * apart, shrink * today.third_half
        is_narrowed = np.abs(apart) > _Z95 * noise
        low = np.where(is_narrowed, np.maximum(low, third - half), low)
        high = np.where(is_narrowed, np.minimum(high, third + half), high)
    return float(_WEIGHTS @ (high - low))


def times_needed(today: Precision, width: float, captures: float = 1.0) -> float | None:
    """How many times the riders make the told interval narrower than `width`, to one in a hundred; None where no number does
    up to MOST_TIMES. Less than 1 where it is narrower already."""
    grid = np.geomspace(1 / MOST_TIMES, MOST_TIMES, 1_400)
    widths = np.array([expected_width(today, times, captures) for times in grid])
    wide = np.flatnonzero(widths > width)
    if not len(wide):
        return float(grid[0])
    after = int(wide[-1]) + 1
    return None if after == len(grid) else float(grid[after])


def without_third(today: Precision) -> Precision:
    """The same where the third estimate may not be asked."""
    return replace(today, third_from_pooled=None)


def draws_needed(change_sd: float, width: float, level: float) -> int:
    """How many draws of two steps make the interval of their difference narrower than `width`.

    change_sd: standard deviation of the change from one capture of a knee to the next, one arm. By the normal interval of a
    difference of two means of half of the draws each, which that of the randomisation test approaches.
    """
    reach = float(stats.norm.ppf(0.5 + level / 2))
    return int(np.ceil((4 * reach * change_sd / width) ** 2))

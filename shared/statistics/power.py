"""How wide a told interval may be expected to be with more riders of the same kind, and how many make it narrow enough."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from shared.statistics.told import ASSUMED_FROM, STRONG_FROM

Floats = NDArray[np.float64]

# So many times the riders there are is as far as anything is foreseen.
MOST_TIMES: Final = 1_000.0
_Z95: Final = float(stats.norm.ppf(0.975))
_Z99: Final = float(stats.norm.ppf(0.995))
# How often the third's two checks both pass where what they ask holds.
_PASSES: Final = (1 - ASSUMED_FROM) ** 2


def _normal(n: int) -> tuple[Floats, Floats]:
    """Points of a standard normal and their weights (Gauss and Hermite)."""
    points, weights = np.polynomial.hermite_e.hermegauss(n)
    return points, weights / weights.sum()


_APART, _APART_WEIGHTS = _normal(31)
_NOISE, _NOISE_WEIGHTS = _normal(9)
# Places from the pooled estimate, 0, to the within-knee one, 1: either alone may be sound.
_PLACES: Final = np.linspace(0.0, 1.0, 5)


@dataclass(frozen=True)
class Precision:
    """What is known of one support today, in the outcome's unit: half widths of the intervals of both estimates, their
    difference (within less pooled) with its standard error, and whether the studio's supports differ by more than noise; of the
    third estimate, where it may narrow the bracket, how far it lies from the pooled one, half its interval at the level that
    narrows, its strength and how many coefficients its first stage learnt. df: degrees of freedom of both."""

    pooled_half: float
    within_half: float
    difference: float
    difference_se: float
    differ: bool = True
    third_from_pooled: float | None = None
    third_half: float = 0.0
    strength: float = 0.0
    learnt: float = 0.0
    df: float = float("inf")


def differ(differences: Sequence[float], errors: Sequence[float]) -> bool:
    """Whether several supports differ by more than noise alone explains: the squares of the differences, each by that of its
    standard error, have a mean above one."""
    # Where there is no noise at all, any difference is more.
    noise = np.maximum(np.square(errors), np.finfo(float).tiny)
    return len(noise) > 0 and float(np.mean(np.square(differences) / noise)) > 1


def expected_width(today: Precision, times: float, captures: float = 1.0) -> float:
    """The expected width of the told interval with `times` the riders, each with `captures` times the captures on average.

    Standard errors shrink with the root of both. What the two estimates truly differ by does not shrink with the riders, and
    falls with `captures`: the noise that was decided by is one of so many captures of a setup, and the pooled estimate leans
    the less on what riders differ in. Its square is that of the difference seen less half of the noise in it, and zero at least
    (less all of it, the root is too small on average; less none, too large). The mean is over the noise of both then and, where
    the third is strong enough, over where between the two it tells the truth to lie and its own noise.
    """
    shrink = 1 / np.sqrt(times * captures)
    noise = shrink * today.difference_se
    # Degrees of freedom grow with the riders, and Student's t comes nearer to the normal.
    by_t = shrink * stats.t.ppf(0.975, max(1.0, today.df * times)) / stats.t.ppf(0.975, max(1.0, today.df))
    apart = _truly_apart(today) / captures + noise * _APART
    low = np.minimum(-by_t * today.pooled_half, apart - by_t * today.within_half)
    high = np.maximum(by_t * today.pooled_half, apart + by_t * today.within_half)
    width = high - low
    strength, third_shrink = _third_then(today, times * captures)
    if today.third_from_pooled is not None and strength >= STRONG_FROM:
        narrowed = _narrowed(today, apart, low, high, third_shrink)
        width = np.where(np.abs(apart) > _Z95 * noise, _PASSES * narrowed + (1 - _PASSES) * width, width)
    return float(_APART_WEIGHTS @ width)


def _truly_apart(today: Precision) -> float:
    """What the two estimates truly differ by, seen from today; nothing where noise alone explains what all supports do."""
    if not today.differ:
        return 0.0
    return float(np.sqrt(max(today.difference**2 - today.difference_se**2 / 2, 0.0)))


def _third_then(today: Precision, information: float) -> tuple[float, float]:
    """The third's strength with so many times the information, and by how much its interval has shrunk.

    A first stage that learns p coefficients from n rows adds noise of p/n to what it foresees, so that with S foreseen and N
    not, strength is F = nS/N / (1 + a) and the variance of the estimate goes with (1 + a)/n, a = (N/S) p/n: hence a(1 + a) =
    p/F, and a falls with n.
    """
    if not today.strength:
        return 0.0, float(information**-0.5)
    noise = (np.sqrt(1 + 4 * today.learnt / today.strength) - 1) / 2
    gain = (1 + noise) / (1 + noise / information)
    return float(today.strength * information * gain), float((information * gain) ** -0.5)


def _narrowed(today: Precision, apart: Floats, low: Floats, high: Floats, shrink: float) -> Floats:
    """The expected width of what brackets (n,) share with the third's interval, the brackets' own where that is nothing."""
    assert today.third_from_pooled is not None
    half = shrink * today.third_half
    if today.difference:
        # The truth is taken to lie between the two; where, by how well it goes with the third seen today.
        off = (today.third_from_pooled - _PLACES * today.difference) / (today.third_half / _Z99)
        odds = np.exp(-(off**2 - (off**2).min()) / 2)
    else:
        odds = np.ones_like(_PLACES)
    third = (apart[:, None, None] * _PLACES[:, None]) + half / _Z99 * _NOISE
    shared = np.minimum(high[:, None, None], third + half) - np.maximum(low[:, None, None], third - half)
    shared = np.where(shared > 0, shared, (high - low)[:, None, None])
    return np.asarray(shared @ _NOISE_WEIGHTS @ (odds / odds.sum()))


def times_needed(today: Precision, width: float, captures: float = 1.0) -> float | None:
    """How many times the riders make the told interval narrower than `width`, to one in a hundred; None where no number does
    up to MOST_TIMES. Less than 1 where it is narrower already. captures: of each rider who is to come, beside those who were
    there."""

    def is_wide(times: float) -> bool:
        each = (1 + (times - 1) * captures) / times if times > 1 else 1.0
        return expected_width(today, times, each) > width

    grid = np.geomspace(1 / MOST_TIMES, MOST_TIMES, 121)
    wide = [place for place, times in enumerate(grid) if is_wide(times)]
    if not wide:
        return float(grid[0])
    if wide[-1] + 1 == len(grid):
        return None
    finer = np.geomspace(grid[wide[-1]], grid[wide[-1] + 1], 13)
    return float(next((times for times in finer[1:-1] if not is_wide(times)), finer[-1]))


def draws_needed(change_sd: float, width: float, level: float) -> int:
    """How many draws of two steps make the interval of their difference narrower than `width`.

    change_sd: standard deviation of the change from one capture of a knee to the next, one arm. By the normal interval of a
    difference of two means of half of the draws each, which that of the randomisation test approaches.
    """
    reach = float(stats.norm.ppf(0.5 + level / 2))
    return int(np.ceil((4 * reach * change_sd / width) ** 2))

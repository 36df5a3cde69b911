"""Does a process reach its goal: the goal held against the limits of the process as it is now, never against a single period.

Where the goal lies beyond the process's own limits, nearly every period falls on one side of it; between them some reach it and
some do not, by chance, and only another process would change that.
"""

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from shared.errors import TooFewError
from shared.statistics.wording import counted

Array = NDArray[np.float64]
Verdict = Literal["reaches it", "misses it", "by chance now and then", "not enough yet"]

# The standard deviation of neighbours' differences beside that of the values: 2 / sqrt(pi).
_RANGE_OF_TWO: Final = 1.128
# Limits as on a control chart; and from few periods so much wider that they still hold so many of the periods to come, with so
# much confidence.
_LIMITS: Final = 3.0
_HELD, _CONFIDENCE = 0.95, 0.975
# How far neighbouring periods are thought to be alike before any is seen: about 0, and up to this much as a standard deviation.
_ALIKE: Final = 1 / 3
_FEWEST_LIKE: Final = 2.0


@dataclass(frozen=True)
class Process:
    """The process of the last `n` periods: its mean, and the limits between which nearly every period lies. n_like: so many
    periods that are no way alike tell as much."""

    centre: float
    low: float
    high: float
    n: int
    n_like: float


def process_of(values: Array, sampling_error: float, fewest: int) -> Process:
    """The process that brought `values` (n,), calendar periods in their order from when it last moved; NaN is a gap.

    sampling_error: of one period's figure by its number of rows alone, 0 where it is not known. Raises TooFewError for fewer
    periods than `fewest`, or than two.
    Sources: Wheeler & Chambers 1992, Understanding Statistical Process Control (natural process limits); NHS England 2019,
    Making Data Count (the classing of a target by them); Odeh & Owen 1980, Tables for Normal Tolerance Limits (few periods).
    """
    known = values[np.isfinite(values)]
    n = len(known)
    if n < max(fewest, 2):
        raise TooFewError(
            f"Not enough yet: {counted(n, 'period')} since it last moved, of the {max(fewest, 2)} that this needs."
        )
    ranges = np.abs(np.diff(values))
    ranges = ranges[np.isfinite(ranges)]
    by_neighbours = float(ranges.mean()) / _RANGE_OF_TWO if len(ranges) else 0.0
    spread = max(by_neighbours, float(known.std(ddof=1)), sampling_error)
    alike = neighbours_alike(values)
    n_like = max(n * (1 - alike) / (1 + alike), _FEWEST_LIKE)
    centre, half = float(known.mean()), reach(n_like) * spread
    return Process(centre, centre - half, centre + half, n, n_like)


def neighbours_alike(values: Array) -> float:
    """How alike neighbouring periods are (n,), 0 to 0.8; NaN is a gap, over which none are neighbours.

    The correlation of neighbours, without what it falls short of in few values (Marriott & Pope 1954, Biometrika 41:390), drawn
    towards 0 as far as its own standard error (Bartlett's 1/sqrt(n)) is wide beside what is thought possible; never under 0,
    since periods that take turns are no reason for narrower limits.
    """
    known = np.isfinite(values)
    n, off = int(known.sum()), np.where(known, values - values[known].mean(), 0.0)
    of_all = float(off @ off)
    if not of_all:
        return 0.0
    found = float(off[1:] @ off[:-1]) / of_all
    corrected = found + (1 + 4 * found) / n
    return float(np.clip(corrected * _ALIKE**2 / (_ALIKE**2 + 1 / n), 0.0, 0.8))


def reach(n: float) -> float:
    """How many standard deviations the limits lie from the mean of n periods: 3, and more for fewer than 13."""
    few = stats.nct.ppf(_CONFIDENCE, n - 1, stats.norm.ppf(_HELD) * n**0.5) / n**0.5
    return max(_LIMITS, float(few))


def share_error(events: float, n: float, rows: float, design_effect: float) -> float:
    """The standard error of a share of `rows` rows, where of all n rows `events` were so; design_effect: as in p_limits. Two
    of either kind are added, so that a share of none is not taken as sure (Agresti & Coull 1998, Am Stat 52:119)."""
    share = (events + 2) / (n + 4)
    return float((share * (1 - share) * design_effect / rows) ** 0.5)


def verdict(process: Process, goal: float, better: int) -> Verdict:
    """better: 1 where the goal is a least, -1 where it is a most."""
    if better not in (1, -1):
        raise ValueError("better is 1 or -1")
    low, high = sorted((better * process.low, better * process.high))
    if better * goal < low:
        return "reaches it"
    return "misses it" if better * goal > high else "by chance now and then"

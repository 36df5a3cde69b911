"""The bracket between two estimates that fail in opposite ways."""

from dataclasses import dataclass

from scipy import stats

from shared.statistics.intervals import TermEstimate


@dataclass(frozen=True)
class Bracket:
    """From the lower to the higher end of both intervals; `disagree` where they differ by more than their joint noise."""

    low: float
    high: float
    disagree: bool
    p_value: float


def bracket(pooled: TermEstimate, within: TermEstimate, level: float) -> Bracket:
    """The bracket of one term.

    Joint noise: the root of the sum of both squared standard errors. The two estimates share data and are positively
    correlated, so this is more than the true noise of their difference: a disagreement is told seldom rather than often.
    Source: Ding & Li 2019, Political Analysis 27:605 (bracketing).
    """
    joint = (pooled.standard_error**2 + within.standard_error**2) ** 0.5
    gap = abs(pooled.estimate - within.estimate)
    df = min(pooled.df, within.df)
    p_value = float(2 * stats.t.sf(gap / joint, df)) if joint > 0 else float(gap == 0)
    return Bracket(min(pooled.low, within.low), max(pooled.high, within.high), p_value < 1 - level, p_value)

"""The one interval that an answer tells, and the one rule by which anything is claimed from it."""

from dataclasses import dataclass

from shared.statistics.intervals import half_width

# The share of false ones among what a family of tests claims, and how often a family in which nothing is true claims anything.
CLAIMED_BELOW = 0.05
# Below so many degrees of freedom a p-value of Student's t is rough (Pustejovsky & Tipton 2018, J Bus Econ Stat 36:672).
ROUGH_BELOW_DF = 4.0


# The level of the sequential interval that may narrow a bracket. Wider than the one that is shown: a bracket holds the truth in
# 96 % of studios at least, and one in a hundred that the third leaves out keeps the told interval above 95 %.
THIRD_LEVEL = 0.99
# First-stage strength from which the sequential estimate is leaned on: bias below a tenth of the worst, one instrument (Montiel
# Olea & Pflueger 2013, J Bus Econ Stat 31:358, table 1).
STRONG_FROM = 23.1
# Below these p-values what the sequential estimate assumes is taken to fail: over-identification, noise that persists.
ASSUMED_FROM = 0.05

# Why a bracket whose two estimates differ is told as it is.
NO_THIRD, OTHER_FORM, WEAK, PERSISTS, OVER_IDENTIFIED, OUTSIDE, NOT_NARROWER = (
    "no third", "other form", "weak", "persists", "over-identified", "outside", "not narrower",
)  # fmt: skip


@dataclass(frozen=True)
class Third:
    """The sequential estimate of one support beside its checks: first-stage strength, the p-values of Hansen's J and of
    persisting noise; learnt: coefficients that its first stage learnt."""

    estimate: float
    standard_error: float
    df: float
    strength: float
    j_p_value: float
    m2_p_value: float
    learnt: float = 0.0

    def interval(self, level: float) -> tuple[float, float]:
        """The ends of its t interval."""
        half = half_width(level, max(self.df, 1.0)) * self.standard_error
        return self.estimate - half, self.estimate + half


@dataclass(frozen=True)
class Told:
    """The interval that answers, headlines, tables and charts print, and what it was told by: `bracket`, or `sequential` where
    that narrowed it; why: the reason, where the two estimates differ and the bracket is told all the same."""

    low: float
    high: float
    by: str
    why: str | None = None


def told_interval(low: float, high: float, disagree: bool = False, third: Third | None = None, why: str = NO_THIRD) -> Told:
    """The told interval of one row or cell: its own bracket, low to high in the outcome's unit, narrowed by the sequential
    estimate where the two estimates disagree and its checks pass.

    why: the reason where there is no third. The narrowed interval is what the bracket and the third's interval at THIRD_LEVEL
    share, so that it is never wider than the bracket.
    """
    if not disagree:
        return Told(low, high, "bracket")
    if third is None:
        return Told(low, high, "bracket", why)
    if failed := _failed(third):
        return Told(low, high, "bracket", failed)
    third_low, third_high = third.interval(THIRD_LEVEL)
    if third_low >= high or third_high <= low:
        return Told(low, high, "bracket", OUTSIDE)
    if third_low <= low and third_high >= high:
        return Told(low, high, "bracket", NOT_NARROWER)
    return Told(max(low, third_low), min(high, third_high), "sequential")


def _failed(third: Third) -> str | None:
    """The first check that does not pass."""
    if not third.strength >= STRONG_FROM:
        return WEAK
    if third.m2_p_value < ASSUMED_FROM:
        return PERSISTS
    return OVER_IDENTIFIED if third.j_p_value < ASSUMED_FROM else None


def is_sure(q_value: float | None) -> bool:
    """Whether a finding that is no interval (levels that differ, a bend) may be claimed: by its q-value in its family."""
    return q_value is not None and q_value < CLAIMED_BELOW


class Claiming:
    """What a row with a told interval and a q-value claims."""

    told_low: float | None
    told_high: float | None
    q_value: float | None

    @property
    def direction(self) -> int:
        """Which direction is claimed: 1, -1, or 0 for none."""
        return direction(self.told_low, self.told_high, self.q_value)


def direction(low: float | None, high: float | None, q_value: float | None) -> int:
    """Which direction may be claimed: 1 above zero, -1 below, 0 none.

    low, high: the told interval, which must lie on one side of zero; q_value: in the family of all that is told beside it.
    Nothing is claimed of a row that has no figure.
    """
    if low is None or high is None or not is_sure(q_value):
        return 0
    return 1 if low > 0 else -1 if high < 0 else 0

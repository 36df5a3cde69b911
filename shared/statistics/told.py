"""The one interval that an answer tells, and the one rule by which anything is claimed from it."""

from dataclasses import dataclass

# The share of false ones among what a family of tests claims, and how often a family in which nothing is true claims anything.
CLAIMED_BELOW = 0.05
# Below so many degrees of freedom a p-value of Student's t is rough (Pustejovsky & Tipton 2018, J Bus Econ Stat 36:672).
ROUGH_BELOW_DF = 4.0


@dataclass(frozen=True)
class Told:
    """The interval that answers, headlines, tables and charts print, and what it was told by (`bracket`)."""

    low: float
    high: float
    by: str


def told_interval(bracket_low: float, bracket_high: float) -> Told:
    """The told interval of one row or cell: its own bracket. All ends in the outcome's unit."""
    return Told(bracket_low, bracket_high, "bracket")


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

"""The difference of a headline figure between two groups of fits: computed, and written without a word more than it holds."""

import numpy as np
from numpy.typing import NDArray

from dashboard.questions.selection.numbers import spoken, spoken_points
from dashboard.questions.studio.studio import Measured
from shared.errors import TooFewError
from shared.settings import Settings
from shared.statistics.group_difference import adjusted_difference
from shared.statistics.intervals import TermEstimate

Flags = NDArray[np.bool_]


def difference_of(one: Measured, here: Flags, there: Flags, settings: Settings) -> TermEstimate:
    """The mean of the rows `here` less that of those `there`, flags (n,) of which no row has both; a rider may be in either.

    Raises TooFewError without words where a group has fewer rows than are shown, TooFewError or NotEstimableError in words
    where too few riders stand behind them.
    """
    if min(here.sum(), there.sum()) < settings.minimum.rows_shown:
        raise TooFewError("")
    both = here | there
    none_held = np.empty((int(both.sum()), 0))
    return adjusted_difference(one.values[both], here[both], none_held, one.rider[both], settings.intervals.level)


def size_words(unit: str, difference: float | None) -> str:
    """A claimed difference without its sign, as in: 22 points fewer; 0.4 points more."""
    less = "fewer" if unit == "share" else "less"
    return f"{points(unit, abs(difference or 0))} {'more' if (difference or 0) > 0 else less}"


def size_ends(unit: str, low: float | None, high: float | None) -> str:
    """The ends of a claimed difference without their sign, the smaller first, as in: 2 to 42."""
    near, far = sorted((abs(low or 0), abs(high or 0)))
    return f"{bare(unit, near)} to {bare(unit, far)}"


def points(unit: str, value: float | None) -> str:
    """A difference of shares in points of a hundred, one of ratings in points of ten."""
    return spoken_points(value or 0) if unit == "share" else spoken(value or 0, 1, "points")


def bare(unit: str, value: float | None) -> str:
    """As points, without the unit."""
    return spoken(100 * (value or 0), 0) if unit == "share" else spoken(value or 0, 1)

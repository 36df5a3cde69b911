"""Was a change of a rider's comfort or pain clear, and was it worth it? One rule for every page, list and sentence."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from dashboard.questions.followed.answers_important import ImportantChange
from dashboard.questions.selection.numbers import spoken

WORTH: Final = "clear and worth it"
SMALL: Final = "clear, small"
CLEAR: Final = "clear, too near the limit to say whether worth it"
UNCLEAR: Final = "no clear change"
WORSE: Final = "clearly worse"
# In the order in which they are told.
VERDICTS: Final = (WORTH, SMALL, CLEAR, UNCLEAR, WORSE)
# What the steps of follow_ups.change_rating mean, in the words in which it is asked.
STEPS: Final[Mapping[int, str]] = {
    -3: "very much worse",
    -2: "much worse",
    -1: "a little worse",
    0: "about the same",
    1: "a little better",
    2: "much better",
    3: "very much better",
}


@dataclass(frozen=True)
class Limits:
    """What a change of one topic is judged by, in points: it is clear from `smallest` on, small below `low`, and worth it from
    `high` on; `points` is the minimal important change, and these are its ends."""

    smallest: float
    low: float
    high: float
    points: float
    better_from: str

    def verdict_of(self, gained: NDArray[np.float64]) -> NDArray[np.int8]:
        """The place in VERDICTS of each change (n,), for the better; -1 where it is NaN."""
        moved = gained >= self.smallest
        kinds = [np.isnan(gained), gained <= -self.smallest, moved & (gained >= self.high), moved & (gained < self.low), moved]
        places = [-1, *(VERDICTS.index(verdict) for verdict in (WORSE, WORTH, SMALL, CLEAR))]
        return np.select(kinds, places, VERDICTS.index(UNCLEAR)).astype(np.int8)

    def verdict(self, gained: float) -> str:
        """One change in words."""
        return VERDICTS[int(self.verdict_of(np.array([gained]))[0])]

    @property
    def words(self) -> str:
        """What the verdicts stand on."""
        begins = f"clear from {_points(self.smallest)} on"
        then = "and then worth it" if self.high <= self.smallest else f"worth it from {spoken(self.high, 1)} on"
        ends = f"{spoken(self.low, 1)} to {spoken(self.high, 1)}"
        return f"{begins}, {then}: riders call {spoken(self.points, 1)} ({ends}) {self.better_from}"


def limits_of(known: ImportantChange | None) -> dict[str, Limits]:
    """The limits of each topic of which a minimal important change is told; none where none is."""
    return {
        row.topic: Limits(row.smallest_real_points, row.low_points, row.high_points, row.points, row.better_from)
        for row in (known.changes if known else ())
        if row.points is not None and row.low_points is not None and row.high_points is not None
    }


def gained(topic: str, before: Any, after: Any) -> Any:
    """How much better a topic became: comfort risen, pain fallen."""
    return before - after if topic == "pain" else after - before


def _points(value: float) -> str:
    return f"{value:g} point{'' if value == 1 else 's'}"

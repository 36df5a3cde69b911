"""The record of what would have been foreseen: quarter after quarter, from the fits of earlier quarters alone."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from dashboard.questions.foresight.calibrated import foreseen
from dashboard.questions.foresight.foreseer import foreseer_of
from dashboard.questions.models.frames import Frame
from shared.errors import StatisticsError
from shared.settings import Settings
from shared.statistics.foresight.adapting import led
from shared.statistics.foresight.bands import Witnesses, band, outness, reaches_of

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Days = NDArray[np.datetime64]

# A band follows from what was foreseen before, once so many riders stand behind it.
RIDERS_FOR_A_BAND: Final = 40


@dataclass(frozen=True)
class Record:
    """Every capture that was foreseen with a band, each array (n,), in the order of days: cell of the frame, rider, whether a
    support was changed, what was expected, the ends of the band, what was measured, at arrival too, and the mean so far."""

    cell: Ints
    rider: Ints
    is_change: NDArray[np.bool_]
    expected: Floats
    low: Floats
    high: Floats
    measured: Floats
    arrival: Floats
    mean_before: Floats

    @property
    def inside(self) -> NDArray[np.bool_]:
        return (self.low <= self.measured) & (self.measured <= self.high)

    def kept(self, kept: NDArray[np.bool_] | Ints) -> "Record":
        places = np.flatnonzero(kept) if kept.dtype == bool else kept
        return Record(*(getattr(self, name).take(places) for name in self.__dataclass_fields__))


def record_of(frame: Frame, day: Days, settings: Settings, level: float) -> Record:
    """The record of one outcome; day (cells,): of each cell's fit. What cannot be foreseen yet is no part of it.

    Model and witnesses are those of earlier quarters; how wide a band of them is asked for, every fit before decides."""
    captures = frame.captures
    quarter = day.astype("datetime64[M]").astype(np.int64) // 3
    seen: list[Record] = []
    out, whose, asked = np.zeros(0), np.zeros(0, dtype=np.int64), level
    ratios: Mapping[str, float] | None = None
    for one in np.unique(quarter)[1:]:
        before, here = quarter < one, np.flatnonzero(quarter == one)
        try:
            foreseer = foreseer_of(frame.chosen(before), settings, ratios)
        except StatisticsError:
            continue
        ratios = foreseer.ratios
        found = foreseen(captures.chosen(quarter == one), foreseer)
        spread = found.spread(is_distance=False)
        outside = outness(spread, found.measured)
        if len(np.unique(whose)) >= RIDERS_FOR_A_BAND:
            cell = here[found.targets.cell]
            order = np.lexsort((found.visit, day[cell]))
            reached = np.empty(len(order))
            reaches = reaches_of(Witnesses(out, whose), level)
            reached[order], asked = led(reaches, outside[order], found.visit[order], level, asked)
            told = captures.chosen(before).rows[frame.outcome]
            changed = np.any(found.targets.change != 0, axis=1)
            mean = np.full(len(reached), float(np.mean(told)))
            ends = (found.expected.mean, *band(spread, reached), found.measured, found.arrival, mean)
            seen.append(Record(cell, found.rider, changed, *ends))
        out, whose = np.append(out, outside), np.append(whose, found.rider)
    if not seen:
        none = np.zeros(0)
        return Record(none.astype(np.int64), none.astype(np.int64), none.astype(bool), *(none for _ in range(6)))
    whole = Record(*(np.concatenate([getattr(one, name) for one in seen]) for name in Record.__dataclass_fields__))
    return whole.kept(np.argsort(day[whole.cell], kind="stable"))

"""How much further the effect of a support goes on feet of each type than on all, drawn together as on Supports."""

from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from dashboard.questions.models.captures import Captures
from dashboard.questions.models.effect_models import pooled_at_levels
from dashboard.questions.models.frames import SUPPORTS, Frame
from dashboard.questions.models.supports import SupportColumn
from shared.errors import StatisticsError
from shared.settings import Settings
from shared.statistics.pooling import combine_types

Floats = NDArray[np.float64]

NO_TYPE: Final = ""


@dataclass(frozen=True)
class ByType:
    """further, variance (types, supports): how much further each support's effect goes on feet of a type, and the variance of
    that. place: the row of each type; the last row is for feet of another type or of none."""

    place: Mapping[str, int]
    further: Floats
    variance: Floats

    def rows_of(self, types: NDArray[np.object_]) -> NDArray[np.int64]:
        """The row of each foot of these types (n,)."""
        names, inverse = np.unique(types.astype(str), return_inverse=True)
        return np.array([self.place.get(one, len(self.further) - 1) for one in names.tolist()], dtype=np.int64)[inverse]


def types_of(captures: Captures) -> NDArray[np.object_]:
    """The foot type of each cell (cells,), empty where it was not examined."""
    types = captures.cells["foot_type"]
    return np.where(types.isna(), NO_TYPE, np.asarray(types, dtype=object))


def by_type(frame: Frame, settings: Settings, ratios: Mapping[str, float]) -> ByType:
    """The same for one outcome's captures; ratios: as in fit_design. A type of which too little is known goes no further, with
    all the variance that there is between types; where no type can be told, nothing differs."""
    told: list[tuple[SupportColumn, float, float]] = []
    with suppress(StatisticsError):
        told += pooled_at_levels(frame, "foot_type", settings, ratios)
    place = {name: row for row, name in enumerate(sorted({column.level or NO_TYPE for column, *_ in told}))}
    further, variance = np.zeros((2, len(place) + 1, len(SUPPORTS)))
    for number, support in enumerate(SUPPORTS):
        of_support = [one for one in told if one[0].support == support]
        if len(of_support) < 2:
            continue
        columns, estimates, errors = zip(*of_support, strict=True)
        together = combine_types(np.array(estimates), np.array(errors), settings.intervals.level)
        rows = [place[column.level or NO_TYPE] for column in columns]
        further[rows, number] = together.shrunk - together.overall
        variance[:, number] = together.between_sd**2
        variance[rows, number] *= 1 - together.weight
    return ByType(place, further, variance)

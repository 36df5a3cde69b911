"""What foresees one outcome, kept as long as the warehouse's present snapshot: the model, its bands, and who it rests on."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dashboard.questions.foresight import SQL
from dashboard.questions.foresight.calibrated import Calibrated, calibrated, held_out
from dashboard.questions.foresight.foreseer import Foreseer, foreseer_of
from dashboard.questions.memory.remembering import Remember
from dashboard.questions.memory.sizes import held_bytes
from dashboard.questions.models.captures import Captures
from dashboard.questions.models.frames import Frame
from dashboard.questions.models.study import study_of
from shared.settings import Settings
from shared.warehouse import Warehouse

Ints = NDArray[np.int64]
Days = NDArray[np.datetime64]

# Each measured outcome, and the distance from neutral that follows from the tilt.
OUTCOMES = {"tilt": "tilt", "sway": "sway", "off_neutral": "tilt"}
LEVEL = 0.8


@dataclass(frozen=True)
class Ready:
    """Model and bands of one measured outcome; n_alike: knees by foot type and arrival direction."""

    foreseer: Foreseer
    bands: Calibrated
    n_alike: Mapping[tuple[str, str], int]

    @property
    def n_bytes(self) -> int:
        """A foundation, which stays as long as its snapshot: it takes seconds to make, and an answer a hundredth of one."""
        return held_bytes(self.foreseer, self.bands, self.n_alike)


def ready(warehouse: Warehouse, measured: str, settings: Settings, remember: Remember) -> Ready:
    """What all fits of the warehouse foresee tilt or sway with. Raises StatisticsError where they are too few."""

    def make() -> Ready:
        study = study_of(warehouse, settings, remember)
        fits = warehouse.arrays(SQL / "fit_days.sql")
        made = places_in_time(fits["fit"].astype(np.int64), fits["session_date"].astype("datetime64[D]"))
        return ready_from(study.frame(measured, np.ones(len(study.captures.n), dtype=bool)), made, settings)

    made: Ready = remember(("foresight", measured), make)
    return made


def ready_from(frame: Frame, made: Ints, settings: Settings) -> Ready:
    """The same from one outcome's captures; made (visits,): the place in time of each visit by its number, -1 for none."""
    foreseer = foreseer_of(frame, settings)
    held = held_out(frame, settings, foreseer.ratios)
    return Ready(foreseer, calibrated(held, LEVEL, made[held.visit]), counted_knees(frame.captures))


def places_in_time(visit: Ints, day: Days) -> Ints:
    """The place of each visit among all, by its day and then by its number; (highest visit + 1,), -1 where there is none."""
    place = np.full(int(visit.max(initial=-1)) + 1, -1)
    place[visit[np.lexsort((visit, day))]] = np.arange(len(visit))
    return place


def counted_knees(captures: Captures) -> dict[tuple[str, str], int]:
    """How many knees of each foot type arrived on each side of neutral; a knee counts once however often it was seen."""
    kinds = kinds_of(captures)
    seen = {(knee, *kind) for knee, kind in zip(captures.knee.tolist(), kinds, strict=True)}
    counts: dict[tuple[str, str], int] = {}
    for _, foot_type, arrived in seen:
        counts[foot_type, arrived] = counts.get((foot_type, arrived), 0) + 1
    return counts


def kinds_of(captures: Captures) -> list[tuple[str, str]]:
    """The foot type and the arrival direction of each cell (cells,); what is not known is empty."""
    columns = [captures.cells[name] for name in ("foot_type", "arrival_direction")]
    return list(
        zip(*(np.where(column.isna(), "", np.asarray(column, dtype=object)).tolist() for column in columns), strict=True)
    )

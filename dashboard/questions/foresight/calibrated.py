"""Bands brought to their level: every rider's captures foreseen by a model that has not seen that rider."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from dashboard.questions.foresight.foreseer import Foreseer, foreseer_of
from dashboard.questions.foresight.targets import Targets, targets_of
from dashboard.questions.models.captures import Captures
from dashboard.questions.models.frames import Frame
from shared.errors import TooFewError
from shared.settings import Settings
from shared.statistics.foresight.bands import Spread, Witnesses, outness, reach
from shared.statistics.foresight.expected import Expected

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# Riders are held out in so many parts; each part's model has seen the others.
PARTS: Final = 8
# A foot type has a band of its own from so many riders on.
RIDERS_OF_A_TYPE: Final = 40
ALL: Final = ""


@dataclass(frozen=True)
class Calibrated:
    """How far bands of one outcome reach: of the outcome as measured, and of its distance from zero; by foot type, and over all
    under ALL."""

    reach: dict[str, float]
    distance_reach: dict[str, float]
    n_riders: dict[str, int]

    def of(self, types: NDArray[np.object_], *, is_distance: bool) -> Floats:
        """The reach for feet of these types (n,)."""
        reaches = self.distance_reach if is_distance else self.reach
        return np.array([reaches.get(one, reaches[ALL]) for one in types])


@dataclass(frozen=True)
class HeldOut:
    """What was foreseen of each target (n,) by a model that has not seen its rider, what was measured then and at the arrival,
    and whose it is."""

    targets: Targets
    expected: Expected
    measured: Floats
    arrival: Floats
    rider: Ints
    foot_type: NDArray[np.object_]

    def spread(self, *, is_distance: bool) -> Spread:
        return Spread(self.expected.mean, self.expected.capture_sd, is_distance)


def types_of(captures: Captures) -> NDArray[np.object_]:
    """The foot type of each cell (cells,), empty where it was not examined."""
    types = captures.cells["foot_type"]
    return np.where(types.isna(), ALL, np.asarray(types, dtype=object))


def held_out(frame: Frame, settings: Settings, parts: int = PARTS) -> HeldOut:
    """Foresees every capture from a model of the other riders. Raises StatisticsError where those are too few."""
    captures = frame.captures
    riders, place = np.unique(captures.rider, return_inverse=True)
    if len(riders) < 2 * parts:
        raise TooFewError(f"Not enough yet: {len(riders)} riders; a band needs {2 * parts} to be checked on.")
    part_of_cell = np.random.default_rng(0).permutation(len(riders))[place] % parts
    made = [
        foreseen(captures.chosen(part_of_cell == one), foreseer_of(frame.chosen(part_of_cell != one), settings))
        for one in range(parts)
    ]
    return _joined(made)


def calibrated(held: HeldOut, level: float) -> Calibrated:
    """How far the bands must reach. Raises TooFewError where there are too few riders for the level."""

    def reaches(*, is_distance: bool) -> dict[str, float]:
        measured = np.abs(held.measured) if is_distance else held.measured
        witnesses = Witnesses(outness(held.spread(is_distance=is_distance), measured), held.rider)
        found = {ALL: reach(witnesses, level)}
        for one in n_riders:
            if one != ALL and n_riders[one] >= RIDERS_OF_A_TYPE:
                found[one] = reach(witnesses.of(held.foot_type == one), level)
        return found

    types = np.unique(held.foot_type[held.foot_type != ALL].astype(str))
    n_riders = {ALL: len(np.unique(held.rider))} | {one: len(np.unique(held.rider[held.foot_type == one])) for one in types}
    return Calibrated(reaches(is_distance=False), reaches(is_distance=True), n_riders)


def foreseen(captures: Captures, foreseer: Foreseer) -> HeldOut:
    """What a model foresees of every capture that has the outcome, after a knee's first, and that it knows enough for."""
    targets = targets_of(captures)
    measured = captures.rows[foreseer.outcome]
    targets = targets.kept(~foreseer.is_beyond(captures, targets) & np.isfinite(measured[targets.row]))
    cell = targets.cell
    return HeldOut(
        targets,
        foreseer.foresee(captures, targets),
        measured[targets.row],
        measured[targets.first],
        captures.rider[cell],
        types_of(captures)[cell],
    )


def _joined(made: list[HeldOut]) -> HeldOut:
    def join(read: Callable[[HeldOut], NDArray]) -> NDArray:  # type: ignore[type-arg]
        return np.concatenate([read(one) for one in made])

    expected = Expected(*(join(lambda one, name=name: getattr(one.expected, name)) for name in Expected.__dataclass_fields__))  # type: ignore[misc]
    targets = Targets(*(join(lambda one, name=name: getattr(one.targets, name)) for name in Targets.__dataclass_fields__))  # type: ignore[misc]
    return HeldOut(
        targets,
        expected,
        join(lambda one: one.measured),
        join(lambda one: one.arrival),
        join(lambda one: one.rider),
        join(lambda one: one.foot_type),
    )

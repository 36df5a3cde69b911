"""Bands brought to their level: every rider's captures foreseen by a model that has not seen that rider."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from dashboard.questions.foresight.by_type import NO_TYPE, types_of
from dashboard.questions.foresight.foreseer import Foreseer, foreseer_of
from dashboard.questions.foresight.targets import Targets, targets_of
from dashboard.questions.models.captures import Captures
from dashboard.questions.models.frames import Frame
from shared.errors import TooFewError
from shared.settings import Settings
from shared.statistics.foresight.adapting import level_today
from shared.statistics.foresight.bands import Spread, Witnesses, outness, reaches_of
from shared.statistics.foresight.expected import Expected

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# Riders are held out in so many parts; each part's model has seen the others. Of many riders the half knows as much as all.
PARTS: Final = 8
FEW_PARTS: Final = 2
_MANY_RIDERS: Final = 4000
# A foot type has a band of its own from so many riders on.
RIDERS_OF_A_TYPE: Final = 40
ALL: Final = NO_TYPE


@dataclass(frozen=True)
class Calibrated:
    """How far bands of one outcome reach: of the outcome as measured, and of its distance from zero; by foot type, and over all
    under ALL. asked, distance_asked: the level that what became of the last bands asks for, so that they hold what is promised.
    """

    reach: dict[str, float]
    distance_reach: dict[str, float]
    n_riders: dict[str, int]
    asked: float
    distance_asked: float

    def of(self, types: NDArray[np.object_], *, is_distance: bool) -> Floats:
        """The reach for feet of these types (n,)."""
        reaches = self.distance_reach if is_distance else self.reach
        return np.array([reaches.get(one, reaches[ALL]) for one in types])


@dataclass(frozen=True)
class HeldOut:
    """What was foreseen of each target (n,) by a model that has not seen its rider, what was measured then and at the arrival,
    and in whose visit it was."""

    targets: Targets
    expected: Expected
    measured: Floats
    arrival: Floats
    rider: Ints
    visit: Ints
    foot_type: NDArray[np.object_]

    def spread(self, *, is_distance: bool) -> Spread:
        return Spread(self.expected.mean, self.expected.capture_sd, is_distance)


def held_out(frame: Frame, settings: Settings, begun: Mapping[str, float] | None = None) -> HeldOut:
    """Foresees every capture from a model of the other riders; begun: ratios of variances where the search for each begins.

    Raises StatisticsError where the riders are too few."""
    captures = frame.captures
    riders, place = np.unique(captures.rider, return_inverse=True)
    parts = PARTS if len(riders) < _MANY_RIDERS else FEW_PARTS
    if len(riders) < 2 * parts:
        raise TooFewError(f"Not enough yet: {len(riders)} riders; a band needs {2 * parts} to be checked on.")
    part_of_cell = np.random.default_rng(0).permutation(len(riders))[place] % parts
    made = [
        foreseen(captures.chosen(part_of_cell == one), foreseer_of(frame.chosen(part_of_cell != one), settings, begun))
        for one in range(parts)
    ]
    return _joined(made)


def calibrated(held: HeldOut, level: float, made: Ints) -> Calibrated:
    """How far the bands must reach; made (n,): the place in time of the fit of each capture.

    Raises TooFewError where there are too few riders for the level."""
    types = np.unique(held.foot_type[held.foot_type != ALL].astype(str))
    n_riders = {ALL: len(np.unique(held.rider))} | {one: len(np.unique(held.rider[held.foot_type == one])) for one in types}
    order = np.argsort(made, kind="stable")

    def reaches(*, is_distance: bool) -> tuple[dict[str, float], float]:
        measured = np.abs(held.measured) if is_distance else held.measured
        witnesses = Witnesses(outness(held.spread(is_distance=is_distance), measured), held.rider)
        asked = level_today(witnesses.of(order), made[order], level)
        found = {ALL: reaches_of(witnesses, level).at(asked)}
        for one in n_riders:
            if one != ALL and n_riders[one] >= RIDERS_OF_A_TYPE:
                found[one] = reaches_of(witnesses.of(held.foot_type == one), level).at(asked)
        return found, asked

    (reach, asked), (distance_reach, distance_asked) = reaches(is_distance=False), reaches(is_distance=True)
    return Calibrated(reach, distance_reach, n_riders, asked, distance_asked)


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
        captures.visit[cell],
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
        join(lambda one: one.visit),
        join(lambda one: one.foot_type),
    )

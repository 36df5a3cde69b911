"""The levels of a split for figures that hold one row a fit or rider: a fit belongs to a level where one of its feet does.

That is the rule by which a selection takes fits as well, so that `--arch-height low` and the level "low" count the same fits.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dashboard.questions.selection import SQL
from dashboard.questions.selection.coded import CODES, FOOT_TYPES
from dashboard.questions.selection.every_fit import Remember, at_once, every_fit, places_of
from dashboard.questions.selection.scope import Scope, forefoot_class, fragments, names_of
from shared.warehouse import Warehouse

Flags = NDArray[np.bool_]

BOTH_FEET = "Split by what is told of a foot, a rider with two kinds of feet counts under both."
NOT_BY_SIDE = "These figures take both knees together and are not split by side."


@dataclass(frozen=True)
class Levels:
    """The level of each foot of the selected fits: `number` (fits, 2), fits by date and left before right, is a place in
    `names`, -1 where it was not recorded; `fit_no` (fits,) rises. Names are in the order of their codes."""

    fit_no: NDArray[np.int64]
    names: list[str]
    number: NDArray[np.int16]


def level_masks(warehouse: Warehouse, scope: Scope, split: str | None, remember: Remember | None = None) -> dict[str, Flags]:
    """Which of the selected fits, numbered by date, belong to each level of the split; empty without a split and by side."""
    if split is None or split == "side":
        return {}
    feet = levels_of_feet(warehouse, scope, split, remember)
    return {name: (feet.number == at).any(axis=1) for at, name in enumerate(feet.names)}


def levels_of_feet(warehouse: Warehouse, scope: Scope, split: str, remember: Remember | None = None) -> Levels:
    """The level of both feet of every selected fit; with `remember`, cut out of those of all fits."""
    if remember is None:
        return _read_levels(warehouse, scope, split)
    levels: Levels = remember(("levels", split), lambda: _read_levels(warehouse, every_fit(scope), split, remember))
    places = places_of(warehouse, scope, levels.fit_no, remember)
    return _of_present(Levels(levels.fit_no[places], levels.names, levels.number[places]))


def _read_levels(warehouse: Warehouse, scope: Scope, split: str, remember: Remember = at_once) -> Levels:
    names = _names(warehouse, split, remember)
    parameters = {**scope.parameters, "levels": names}
    rows = warehouse.arrays(SQL / "feet_levels.sql", parameters, **fragments(), level=_level_sql(split))
    fit_no, level_no = (rows[name].reshape(-1, 2) for name in ("fit_no", "level_no"))
    # Small numbers, since they are kept.
    return _of_present(Levels(fit_no[:, 0].astype(np.int64), names, level_no.astype(np.int16)))


def _names(warehouse: Warehouse, split: str, remember: Remember) -> list[str]:
    """Lists every level that a split may have, in the order of the codes."""
    return sorted(names_of(warehouse, remember)["bike_kind"]) if split == "bike_kind" else list(_CODES[split])


def _of_present(levels: Levels) -> Levels:
    """Leaves out the levels that no foot has, and numbers the feet by those that remain."""
    present = np.bincount(levels.number.ravel() + 1, minlength=len(levels.names) + 1)[1:] > 0
    if present.all():
        return levels
    # Numbers of those that are there, and -1 in the last place, where -1 points.
    renumbered = np.append(np.cumsum(present) - 1, -1).astype(levels.number.dtype)
    names = [name for name, is_there in zip(levels.names, present.tolist(), strict=True) if is_there]
    return Levels(levels.fit_no, names, renumbered[levels.number])


def _level_sql(split: str) -> str:
    """SQL of the level of a row of `exams` (mart.feet) of `fits` (mart.fits)."""
    forefoot = forefoot_class("exams.forefoot_angle_deg")
    classes = {
        "forefoot": forefoot,
        "foot_type": f"exams.arch_height || ' arch, ' || {forefoot}",
        "arrival_direction": fragments()["arrival_direction"].replace("knee_tilt_deg", "exams.tilt_arrival_deg"),
        **{name: fragments()[name] for name in ("age_band", "foot_posture", "hip_flexion")},
        # Of knees that were recorded at departure, as everywhere where effects are split.
        **{name: f"CASE WHEN {_RECORDED_AT_DEPARTURE} THEN exams.{name} END" for name in ("shim_place", "stance_by")},
    }
    return classes.get(split) or f"{'fits' if split in _OF_A_FIT else 'exams'}.{split}"


def exam_fragments() -> dict[str, str]:
    """The selection's conditions, and the forefoot class of `exams`."""
    return {**fragments(), "forefoot_of_exam": forefoot_class("exams.forefoot_angle_deg")}


def count_riders(rider: NDArray[np.int64]) -> int:
    """How many riders stand behind rows that carry a rider's code, 0 and up."""
    return int(np.count_nonzero(np.bincount(rider))) if len(rider) else 0


def split_caution(split: str | None) -> tuple[str, ...]:
    """What a reader of split figures must know."""
    if split is None or split in _OF_A_FIT:
        return ()
    return (NOT_BY_SIDE if split == "side" else BOTH_FEET,)


def level_words(split: str | None, level: str | None) -> str:
    """Names a level of a split, as in: arch height low; empty overall."""
    if split is None or level is None:
        return ""
    return f"{split} {level}".replace("_", " ")


_RECORDED_AT_DEPARTURE = "coalesce(exams.tilt_departure_deg, exams.sway_departure_mm, exams.offset_departure_mm) IS NOT NULL"
_OF_A_FIT = ("riding", "bike_kind", "visit_kind", "sex", "age_band")
_CODES: Mapping[str, tuple[str, ...]] = {
    **CODES,
    "foot_type": FOOT_TYPES,
    "side": ("left", "right"),
    "foot_posture": ("highly supinated", "supinated", "neutral", "pronated", "highly pronated"),
    "hip_flexion": ("below 90°", "90 to 104°", "105 to 119°", "120° and above"),
    "arrival_direction": ("inward", "near neutral", "outward"),
    "age_band": ("under 30", "30 to 44", "45 to 59", "60 and over"),
}

"""The levels of a split for figures that hold one row a fit or rider: a fit belongs to a level where one of its feet does.

That is the rule by which a selection takes fits as well, so that `--arch-height low` and the level "low" count the same fits.
"""

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from dashboard.questions.scope import SQL, Scope, forefoot_class, fragments
from dashboard.questions.selection import FOREFOOT_CLASSES
from shared.catalogue import catalogue
from shared.warehouse import Warehouse

Flags = NDArray[np.bool_]

BOTH_FEET = "Split by what is told of a foot, a rider with two kinds of feet counts under both."
NOT_BY_SIDE = "These figures take both knees together and are not split by side."


def level_masks(warehouse: Warehouse, scope: Scope, split: str | None) -> dict[str, Flags]:
    """Which of the selected fits, numbered by date, belong to each level of the split; empty without a split and by side."""
    if split is None or split == "side":
        return {}
    feet = levels_of_feet(warehouse, scope, split)
    return {level: (feet == level).any(axis=1) for level in ordered_levels(split, feet.ravel())}


def levels_of_feet(warehouse: Warehouse, scope: Scope, split: str) -> NDArray[Any]:
    """The level of each foot, shape (fits, 2), fits numbered by date, left before right; None where it was not recorded."""
    return warehouse.arrays(SQL / "feet_levels.sql", scope.parameters, **exam_fragments())[split].reshape(-1, 2)


def exam_fragments() -> dict[str, str]:
    """The selection's conditions, and the forefoot class of `exams`."""
    return {**fragments(), "forefoot_of_exam": forefoot_class("exams.forefoot_angle_deg")}


def ordered_levels(split: str, values: NDArray[Any]) -> list[str]:
    """The levels that are present, in the order of their codes; missing values are no level."""
    present = [str(value) for value in pd.unique(values) if value is not None]
    return sorted(present, key=lambda level: (*_places(split, level), level))


def _places(split: str, level: str) -> tuple[int, ...]:
    if split == "foot_type":
        arch, _, forefoot = level.partition(" arch, ")
        return (*_places("arch_height", arch), *_places("forefoot", forefoot))
    codes = _CODES.get(split, ())
    return (codes.index(level) if level in codes else len(codes),)


def count_riders(rider: NDArray[np.int64]) -> int:
    """How many riders stand behind rows that carry a rider's code, 0 and up."""
    return int(np.count_nonzero(np.bincount(rider))) if len(rider) else 0


def split_caution(split: str | None) -> tuple[str, ...]:
    """What a reader of split figures must know."""
    if split is None or split in _OF_A_FIT:
        return ()
    return (NOT_BY_SIDE if split == "side" else BOTH_FEET,)


def level_words(split: str | None, level: str | None) -> str:
    """As in: arch height low; empty overall."""
    if split is None or level is None:
        return ""
    return f"{split} {level}".replace("_", " ")


_OF_A_FIT = ("riding", "bike_kind", "visit_kind", "sex", "age_band")
_CODES: Mapping[str, tuple[str, ...]] = {
    **{
        name: catalogue()[table].column(name).codes
        for table, names in {
            "foot_exams": ("arch_height", "arch_collapse", "heel_posture", "squat_knee_path"),
            "foot_setups": ("shim_place", "stance_by"),
            "fit_sessions": ("visit_kind",),
            "riders": ("riding", "sex"),
        }.items()
        for name in names
    },
    "forefoot": FOREFOOT_CLASSES,
    "side": ("left", "right"),
    "foot_posture": ("highly supinated", "supinated", "neutral", "pronated", "highly pronated"),
    "hip_flexion": ("below 90°", "90 to 104°", "105 to 119°", "120° and above"),
    "arrival_direction": ("inward", "near neutral", "outward"),
    "age_band": ("under 30", "30 to 44", "45 to 59", "60 and over"),
}

"""Which tables and columns a warehouse holds anything of, and which figures stand on them: not recorded is not zero."""

from dataclasses import dataclass
from typing import Final

from dashboard.questions.memory.remembering import Remember
from dashboard.questions.selection import SQL
from shared.recorded import COSTS, not_recorded
from shared.warehouse import Warehouse

TILT: Final = "knee_captures.knee_tilt_deg"
SWAY: Final = "knee_captures.knee_sway_mm"
OFFSET: Final = "knee_captures.knee_offset_mm"
# The figures that questions share, by the name under which all of them tell it, and what each stands on.
FIGURES: Final = {
    "tilt": (TILT,),
    "sway": (SWAY,),
    "offset": (OFFSET,),
    "off_neutral": (TILT,),
    "nearer_neutral": (TILT,),
    "side_difference_left": (TILT,),
    "knees_better": (TILT,),
    "comfort_gained": ("rider_ratings",),
    "captures_per_fit": ("knee_captures",),
    "recorded_twice": ("knee_captures",),
    "return_rate": ("follow_ups",),
    "booked": ("follow_ups",),
    "follow_up_booked": ("follow_ups",),
    "repeat_capture": ("foot_setups", "knee_captures"),
    "exam_complete": ("foot_exams",),
    "exam_missing": ("foot_exams",),
    "bike_measured": ("bike_measures",),
    "agreement": ("foot_exams", "foot_setups"),
    "setup_kept_all": ("follow_ups.setup_kept",),
    "setup_kept_some": ("follow_ups.setup_kept",),
    "setup_kept_none": ("follow_ups.setup_kept",),
    "satisfaction": ("follow_ups.satisfaction",),
    "pain": ("follow_ups.pain",),
    "held": (TILT,),
}
# What a split needs; one that is not here is known of every fit, or says itself where it is not.
SPLIT_BY: Final = {
    **dict.fromkeys(
        ("foot_type", "arch_height", "forefoot", "arch_collapse", "heel_posture", "squat_knee_path", "foot_posture",
         "hip_flexion"),
        ("foot_exams",),
    ),
    **dict.fromkeys(("shim_place", "stance_by"), ("foot_setups",)),
    "arrival_direction": (TILT,),
}  # fmt: skip


@dataclass(frozen=True)
class Recorded:
    """What is absent of a whole warehouse, whatever is selected: tables, and columns as table.column."""

    absent: frozenset[str] = frozenset()

    def lacking(self, stands_on: tuple[str, ...]) -> tuple[str, ...]:
        """Which of these are absent; of a table that is absent its columns are not named beside it."""
        lacking = []
        for stand in stands_on:
            table = stand.partition(".")[0]
            lacking += [table] if table in self.absent else [stand] if stand in self.absent else []
        return tuple(dict.fromkeys(lacking))

    def instead(self, figure: str) -> str:
        """What stands in the place of a figure that is not recorded; empty where it is."""
        return not_recorded(self.lacking(FIGURES.get(figure, ())))


EVERYTHING: Final = Recorded()


def recorded_in(warehouse: Warehouse, remember: Remember) -> Recorded:
    """What a snapshot holds nothing of."""

    def look() -> Recorded:
        (row,) = warehouse.rows(SQL / "recorded.sql", None, held=", ".join(map(_is_held, COSTS)))
        return Recorded(frozenset(stand for stand, is_held in row.items() if not is_held))

    found: Recorded = remember(("recorded",), look)
    return found


def _is_held(stand: str) -> str:
    """SQL that is true where the table has a row, or the column a cell."""
    table, _, column = stand.partition(".")
    condition = f' WHERE "{column}" IS NOT NULL' if column else ""
    return f'EXISTS (SELECT 1 FROM core."{table}"{condition}) AS "{stand}"'  # noqa: S608 (names of the catalogue alone)

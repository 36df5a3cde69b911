"""The case mix: what a rider came with, as the columns of a design that knows no fitter."""

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dashboard.questions.selection.coded import CODES
from dashboard.questions.symmetry.both_sides import mean_of_sides, side_difference
from shared.statistics.design import Design, filled, of_columns

Rows = dict[str, NDArray[Any]]

# The levels of the exam that have a column each, with the column of the exam.
_EXAM_LEVELS = {
    "arch_low": ("arch_height", "low"),
    "arch_high": ("arch_height", "high"),
    "collapse_some": ("arch_collapse", "some"),
    "collapse_marked": ("arch_collapse", "marked"),
    "heel_inverted": ("heel_posture", "inverted"),
    "heel_everted": ("heel_posture", "everted"),
    "squat_inward": ("squat_knee_path", "inward"),
    "squat_outward": ("squat_knee_path", "outward"),
}
_ARRIVAL = ("off_neutral_arrival_deg", "tilt_arrival_deg", "side_difference_arrival_deg", "sway_arrival_mm")
_MEASURES = (*_ARRIVAL, "forefoot_angle_deg", *_EXAM_LEVELS)
# What these leave behind need not rise in a straight line: a knee far from neutral has further to go than supports reach.
_CURVED = ("off_neutral_arrival_deg", "side_difference_arrival_deg")


def case_mix(rows: Rows, bike_kinds: Sequence[str]) -> Design:
    """The design from the rows of fitters_fits.sql."""
    return design_of({**rows, **came_with(rows)}, bike_kinds)


def came_with(rows: Rows) -> Rows:
    """The measures of arrival and exam of each fit, from the rows of fitters_fits.sql: those of both sides as one."""
    return {**_arrival(rows), **_exam(rows)}


def design_of(rows: Rows, bike_kinds: Sequence[str]) -> Design:
    """Arrival tilt and sway, exam, kind of visit and of bicycle of each fit, from the columns of came_with and the kinds.

    A missing measure takes the mean of the others and a column of its own. A column with fewer than ROWS_PER_TERM fits that
    differ from the rest is left out, and so is a rare kind: its fits count with the most common one.
    """
    columns = filled(rows, _MEASURES, _CURVED)
    columns.update(_kinds("visit_kind", rows["visit_kind"], CODES["visit_kind"]))
    columns.update(_kinds("bike_kind", rows["bike_kind"], bike_kinds))
    return of_columns(columns, len(rows["rider"]))


def _arrival(rows: Rows) -> dict[str, NDArray[np.float64]]:
    """What the knees came with: means over both, and the size of the side difference."""
    tilt, sway = ((rows[f"{name}_left_arrival"], rows[f"{name}_right_arrival"]) for name in ("tilt", "sway"))
    return {
        "off_neutral_arrival_deg": mean_of_sides(np.abs(tilt[0]), np.abs(tilt[1])),
        "tilt_arrival_deg": mean_of_sides(*tilt),
        "side_difference_arrival_deg": np.abs(side_difference(*tilt)),
        "sway_arrival_mm": mean_of_sides(*sway),
    }


def _exam(rows: Rows) -> dict[str, NDArray[np.float64]]:
    """The mean forefoot angle, and for each level the share of the two feet that have it."""
    found = {"forefoot_angle_deg": mean_of_sides(rows["forefoot_angle_left"], rows["forefoot_angle_right"])}
    for name, (column, level) in _EXAM_LEVELS.items():
        number = CODES[column].index(level) + 1
        found[name] = ((rows[f"{column}_left"] == number).astype(float) + (rows[f"{column}_right"] == number)) / 2
    return found


def _kinds(name: str, numbers: NDArray[Any], names: Sequence[str]) -> dict[str, NDArray[np.float64]]:
    """A column for each kind but the most common one, by name."""
    counts = np.bincount(numbers)
    told = {("not recorded", *names)[number]: number for number in np.flatnonzero(counts).tolist()}
    shown = sorted(told)
    shown.remove(max(shown, key=lambda kind: counts[told[kind]]))
    return {f"{name} {kind}": (numbers == told[kind]).astype(float) for kind in shown}

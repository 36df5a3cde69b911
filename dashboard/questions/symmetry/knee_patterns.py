"""The knee pattern of one capture, from both knees: inward, outward, opposed, looping or neutral. Pure functions of arrays."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from shared.settings import Knee

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

# Where several patterns hold, a capture is named after the first of these: what asks for a look at the saddle comes first.
PATTERNS = ("opposed", "looping", "inward", "outward", "neutral")


@dataclass(frozen=True)
class Knees:
    """Both knees of each capture, every array of shape (n,); missing is NaN. `high_sway_mm` is the studio's own limit."""

    tilt_left_deg: Floats
    tilt_right_deg: Floats
    sway_left_mm: Floats
    sway_right_mm: Floats
    offset_left_mm: Floats
    offset_right_mm: Floats
    high_sway_mm: Floats


def has_pattern(knees: Knees) -> Flags:
    """Whether both tilts were recorded, without which no pattern is told; a missing sway or offset only leaves its rule out."""
    return np.isfinite(knees.tilt_left_deg) & np.isfinite(knees.tilt_right_deg)


def patterns(knees: Knees, limits: Knee) -> dict[str, Flags]:
    """Which patterns each capture shows, (n,) each. Several may hold at once; neutral is none of the others."""
    sides = (knees.tilt_left_deg, knees.tilt_right_deg)
    inside = [tilt < -limits.neutral_within_deg for tilt in sides]
    outside = [tilt > limits.neutral_within_deg for tilt in sides]
    any_inside, any_outside = inside[0] | inside[1], outside[0] | outside[1]
    left, right = knees.offset_left_mm, knees.offset_right_mm
    offsets_opposed = (np.abs(right - left) > limits.offset_difference_mm) & (left * right < 0)
    sways = (knees.sway_left_mm, knees.sway_right_mm)
    looping = np.logical_or.reduce([out & (sway > knees.high_sway_mm) for out, sway in zip(outside, sways, strict=True)])
    found = {
        "opposed": (any_inside & any_outside) | offsets_opposed,
        "looping": looping,
        "inward": any_inside & ~any_outside,
        "outward": any_outside & ~any_inside,
    }
    return {**found, "neutral": ~np.logical_or.reduce(list(found.values()))}


def numbered(shown: dict[str, Flags]) -> NDArray[np.int8]:
    """One pattern's place in PATTERNS for each capture, the first that holds."""
    number = np.full(len(shown[PATTERNS[-1]]), len(PATTERNS) - 1, dtype=np.int8)
    for place in reversed(range(len(PATTERNS))):
        number[shown[PATTERNS[place]]] = place
    return number

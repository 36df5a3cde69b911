"""A studio of 120 riders by a rule, so that what is told of it can be counted: two studios, four fitters.

Rider n comes on the 5th of one of the twelve months up to June 2026 (n mod 12), to quay where n <= 72, else to mill; fitters
take turns (n mod 4). Arches are low, medium, high in turn (n mod 3). One knee, the left one of even riders and the right one
of odd ones, arrives at about -3.0° and is supported; the other one at about 0.5°. Five captures: 1 and 2 with nothing under
the foot, 3 with an insole (low +0.4°, medium +0.8°, high +1.1°, as n mod 3), 4 with one varus shim, or two where n divides by
5 (+0.5° and 1 mm less sway each), 5 with the foot 2 or 4 mm out (n mod 2; -0.1° a mm). Each is off by -0.2 to 0.2° by a rule
of its own. Even riders book on the day and are back 28 days later: two captures of the setup that they left with; of the
others every second books and misses it, or has it open; the rest book nothing. Every seventh has a shim built into the shoes
from the start, which does nothing here: it misleads the estimate over all riders, and the told interval holds the truth.
"""

from collections.abc import Iterator
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pandas as pd

from etl.load import load

N_RIDERS = 120
INSOLES = {"none": 0.0, "low": 0.4, "medium": 0.8, "high": 1.1}
Rows = list[dict[str, Any]]


def _day(n: int) -> date:
    month = 6 + n % 12
    return date(2025 + month // 12, 1 + month % 12, 5)


def riders() -> Rows:
    kinds = ("road", "gravel")
    return [
        {"rider_id": f"R{n:03}", "birth_year": 1945 + n % 60, "sex": ("female", "male")[n % 2], "riding": kinds[n % 2]}
        for n in range(1, N_RIDERS + 1)
    ]


def fitters() -> Rows:
    return [{"fitter_id": f"F{n}", "fitter_name": name} for n, name in enumerate(("Alder", "Birch", "Cedar", "Hazel"))]


def _session(n: int, again: bool) -> dict[str, Any]:
    return {
        "session_id": f"S{n:03}{'b' * again}", "rider_id": f"R{n:03}", "fitter_id": f"F{n % 4}",
        "studio_id": "quay" if n <= 72 else "mill", "session_date": _day(n) + timedelta(days=28 * again),
        "visit_kind": "follow_up" if again else "first", "bike_kind": ("road", "gravel")[n % 2], "saddle_condition": "sound",
        "saddle_width_mm": 135 + 5 * (n % 4), "sit_bone_width_mm": 105 + n % 9,
    }  # fmt: skip


def fit_sessions() -> Rows:
    return [_session(n, again) for n in range(1, N_RIDERS + 1) for again in (False, True) if not again or n % 2 == 0]


def foot_exams() -> Rows:
    return [
        {
            "session_id": f"S{n:03}", "side": side, "arch_height": ("low", "medium", "high")[n % 3],
            "arch_collapse": ("none", "some")[n % 2], "heel_posture": ("neutral", "everted")[n % 2],
            "forefoot_angle_deg": (0, 6)[n % 2], "squat_knee_path": "straight", "hip_flexion_deg": 90 + n % 5,
            "foot_posture_index": n % 7,
        }
        for n in range(1, N_RIDERS + 1)
        for side in ("left", "right")
    ]  # fmt: skip


def _supported(n: int) -> str:
    return ("left", "right")[n % 2]


def _captures(n: int) -> Iterator[tuple[str, int, int]]:
    """Session, capture in it, and how far the setup had come."""
    yield from ((f"S{n:03}", at, at) for at in range(1, 6))
    if n % 2 == 0:
        yield from ((f"S{n:03}b", at, 5) for at in (1, 2))


def knee_captures() -> Rows:
    rows = []
    for n in range(1, N_RIDERS + 1):
        for at, (session, number, stage) in enumerate(_captures(n)):
            for side in ("left", "right"):
                # Over any five riders in a row each capture is off by -0.2 to 0.2 in turn, so that no mean is.
                off = 0.1 * (((1 + at % 4) * (n + n // 5 + 2 * (side == "left")) + at) % 5 - 2)
                is_held = side == _supported(n)
                insole, shims, stance = _setup(n, stage if is_held else 1)
                moved = INSOLES[insole] + 0.5 * shims - 0.1 * stance
                base = -3.0 + 0.1 * (n % 7) if is_held else 0.5 - 0.1 * (n % 4)
                sway = 12.0 - shims + 5 * off
                rows.append(
                    {
                        "session_id": session,
                        "capture_no": number,
                        "side": side,
                        "knee_tilt_deg": round(base + moved + off, 2),
                        "knee_sway_mm": round(sway, 1),
                        "knee_offset_mm": (20 if is_held else 2) + (n // 4 + at) % 3,
                        "crank_cycles": 60,
                        "cadence_rpm": 90,
                        "power_w": 200,
                    }
                )
    return rows


def _setup(n: int, stage: int) -> tuple[str, int, int]:
    """Insole, shims and mm of stance under a supported foot, once the setup had come so far."""
    insole = ("low", "medium", "high")[n % 3] if stage >= 3 else "none"
    return insole, (stage >= 4) * (1 if n % 5 else 2), (stage >= 5) * (2 + 2 * (n % 2))


def foot_setups() -> Rows:
    rows = []
    for n in range(1, N_RIDERS + 1):
        for session, number, stage in _captures(n):
            for side in ("left", "right"):
                insole, shims, stance = _setup(n, stage if side == _supported(n) else 1)
                rows.append(
                    {
                        "session_id": session,
                        "capture_no": number,
                        "side": side,
                        "shims_built_in": int(n % 7 == 0),
                        "foot_room_ok": "true",
                        "insole_level": insole,
                        "shims_added": shims,
                        "shim_place": ("in_shoe", "at_cleat")[n // 2 % 2] if shims else "",
                        "stance_mm": stance,
                        "stance_by": "cleat" if stance else "",
                    }
                )
    return rows


def rider_ratings() -> Rows:
    """Comfort 5 or 6 at arrival, two to four more at departure, 7 at the follow-up; pain 2, then 1; of every tenth rider 5."""
    rows = []
    for n in range(1, N_RIDERS + 1):
        pain = 2 if n % 10 else 5
        moments = [(f"S{n:03}", 1, 5 + n % 2, pain), (f"S{n:03}", 5, 7 + n % 3, 1)] + [(f"S{n:03}b", 1, 7, 2)] * (n % 2 == 0)
        for session, number, comfort, hurt in moments:
            rows += [
                {"session_id": session, "capture_no": number, "topic": topic, "body_part": part, "score": score}
                for topic, part, score in (("comfort", "whole", comfort), ("pain", "left_knee", hurt))
            ]
    return rows


def bike_measures() -> Rows:
    return [
        {"session_id": f"S{n:03}", "moment": moment, "measure": "saddle_height", "value_mm": value}
        for n in range(1, N_RIDERS + 1)
        for moment, value in (("arrival", 700 + n % 40), ("departure", 705 + n % 40))
    ]


def follow_ups() -> Rows:
    rows = []
    for n in range(1, N_RIDERS + 1):
        booked = {
            "follow_up_id": f"B{n:03}",
            "session_id": f"S{n:03}",
            "booked_on": _day(n),
            "due_on": _day(n) + timedelta(days=28),
        }
        if n % 2 == 0:
            told = {"setup_kept": ("all", "some")[n % 4 // 2], "satisfaction": 8, "pain": n % 3}
            # Much better where pain fell by 3, but for one in four; of the others one in three.
            told["change_rating"] = (1 if n % 40 == 0 else 2) if n % 10 == 0 else n % 3
            rows.append(
                booked | told | {"state": "attended", "attended_on": booked["due_on"], "returned_session_id": f"S{n:03}b"}
            )
        elif n % 4 == 1:
            rows.append(booked | {"state": "missed" if n % 8 == 1 else "open"})
    return rows


TABLES = (
    riders, fitters, fit_sessions, foot_exams, knee_captures, foot_setups, rider_ratings, bike_measures, follow_ups,
)  # fmt: skip


def make(warehouse: Path) -> None:
    """Writes the studio's tables beside a warehouse, and loads them."""
    exports = warehouse.with_suffix(".exports")
    exports.mkdir(parents=True, exist_ok=True)
    for table in TABLES:
        pd.DataFrame(table()).to_csv(exports / f"{table.__name__}.csv", index=False)
    load([exports], warehouse)

"""The demo's one comparison of drawn order: a low insole against one more varus shim, under medium arches and a mild varus
forefoot.

It is laid over fits that are there, so that no other figure of the demo changes: fitter by fitter, day by day, the next fit of
such a foot is one of the comparison where its next step is the one that the seed had drawn. Now and then one where it is the
other is taken as well, as a draw that was overruled.
"""

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Final

import pandas as pd

from shared.logbook.drawing import block_order, commitment_of

SEED: Final = "6e6f626f6479207761732064726177696e672074686573652c20696e76656e7465"
OPENED_ON: Final = "2025-06-09"
STOP_AFTER: Final = 48
FEET: Final = {"arch_height": "medium", "forefoot": "mild_varus", "insole_level": "none", "total_shims": 0, "knee": "any"}
STEPS: Final = {"first": "insole_low", "second": "shim_more"}
# Every so many-th fit whose step is the other one was drawn and overruled.
_OVERRULED_EVERY: Final = 16
# From capture to draw; the next capture is eleven minutes later at least.
_DRAWN_AFTER: Final = timedelta(minutes=3)


@dataclass(frozen=True)
class _Step:
    """The first single step of a foot in a fit: when, by whom, after which capture, and which of the two it was."""

    captured_at: str
    session_id: str
    side: str
    fitter: str
    capture_before: int
    arm: str


def drawn_orders(tables: dict[str, pd.DataFrame]) -> list[dict[str, Any]]:
    """The rows of drawn_orders over the simulated tables, in the order in which they were drawn."""
    made: list[dict[str, Any]] = []
    n_drawn: defaultdict[str, int] = defaultdict(int)
    n_other = 0
    for step in _steps(tables):
        if len(made) == STOP_AFTER:
            break
        block, place, size, arm = _next(step.fitter, n_drawn[step.fitter])
        n_other += step.arm != arm
        if step.arm != arm and n_other % _OVERRULED_EVERY:
            continue
        n_drawn[step.fitter] += 1
        made.append(
            {
                "session_id": step.session_id,
                "side": step.side,
                "capture_before": step.capture_before,
                "drawn": arm,
                "stratum": step.fitter,
                "block": block,
                "block_size": size,
                "place": place,
                "drawn_at": (datetime.fromisoformat(step.captured_at) + _DRAWN_AFTER).isoformat(),
            }
        )
    seal = commitment_of(SEED)
    name = f"C-{seal[:6]}"
    about = {
        "comparison_id": name,
        "first_step": STEPS["first"],
        "second_step": STEPS["second"],
        "outcome": "tilt",
        "opened_on": OPENED_ON,
        "closed_on": made[-1]["drawn_at"][:10],
        "stop_after": STOP_AFTER,
        "commitment": seal,
        "seed": SEED,
        **FEET,
    }
    return [{"draw_id": f"{name}-{number:04d}", **about, **row} for number, row in enumerate(made, start=1)]


def _next(fitter: str, n_drawn: int) -> tuple[int, int, int, str]:
    """Block, place, size of the block and arm of a fitter's next draw."""
    block = 0
    while n_drawn >= len(order := block_order(SEED, fitter, block)):
        block, n_drawn = block + 1, n_drawn - len(order)
    return block, n_drawn, len(order), order[n_drawn]


def _steps(tables: dict[str, pd.DataFrame]) -> Iterator[_Step]:
    """The first step of each fit of such a foot that is one of the two, by time; one foot a fit."""
    sessions = tables["fit_sessions"].set_index("session_id")
    feet = tables["foot_exams"].query("arch_height == 'medium'")
    angle = pd.to_numeric(feet["forefoot_angle_deg"])
    feet = feet[(angle > 2) & (angle <= 8)]
    captures = tables["knee_captures"]
    measured = captures[captures["knee_tilt_deg"].notna()].set_index(["session_id", "side", "capture_no"])["captured_at"]
    setups = tables["foot_setups"].assign(capture_no=pd.to_numeric(tables["foot_setups"]["capture_no"]))
    by_foot = dict(list(setups.sort_values("capture_no").groupby(["session_id", "side"])))
    found: dict[str, _Step] = {}
    for session_id, side in zip(feet["session_id"], feet["side"], strict=True):
        foot = by_foot.get((session_id, side))
        if foot is None or session_id in found or sessions["session_date"][session_id] < OPENED_ON:
            continue
        change = _first_step(foot)
        if change is None:
            continue
        before, arm = change
        at = measured.get((session_id, side, str(before)))
        if at is not None and (session_id, side, str(before + 1)) in measured.index:
            found[session_id] = _Step(at, session_id, side, sessions["fitter_id"][session_id], before, arm)
    return iter(sorted(found.values(), key=lambda one: (one.captured_at, one.session_id)))


def _first_step(foot: pd.DataFrame) -> tuple[int, str] | None:
    """The capture before the first change of a foot without insole and shims, and which of the two steps it was."""
    level = foot["insole_level"].tolist()
    shims = (pd.to_numeric(foot["shims_added"]) + pd.to_numeric(foot["shims_built_in"]).fillna(0)).tolist()
    stance, number = foot["stance_mm"].tolist(), foot["capture_no"].tolist()
    if (level[0], shims[0]) != ("none", 0):
        return None
    for index in range(1, len(number)):
        if (level[index], shims[index], stance[index]) == (level[0], shims[0], stance[0]):
            continue
        if stance[index] != stance[0] or number[index] != number[index - 1] + 1:
            return None
        arm = {("low", 0): "first", ("none", 1): "second"}.get((level[index], shims[index]))
        return None if arm is None else (int(number[index - 1]), arm)
    return None

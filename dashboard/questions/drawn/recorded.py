"""The comparisons and draws as they stand: those of the studio's own logbook, and those that exports brought."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np

from dashboard.questions.drawn import SQL
from dashboard.questions.drawn.steps import feet_words, step_between
from dashboard.questions.foresight.knees import Setup
from shared.logbook.drawing import Comparison, Draw, Drawing, differing
from shared.warehouse import Warehouse


@dataclass(frozen=True)
class Logged:
    """What the logbook holds of drawn orders."""

    comparisons: tuple[Comparison, ...] = ()
    draws: tuple[Draw, ...] = ()


@dataclass(frozen=True)
class About:
    """A comparison, wherever it was noted; dates in days."""

    comparison_id: str
    first_step: str
    second_step: str
    outcome: str
    feet: str
    opened_on: date
    closed_on: date | None
    stop_after: int
    commitment: str
    seed: str

    def step(self, arm: str) -> str:
        """The code of an arm's step."""
        return self.first_step if arm == "first" else self.second_step


@dataclass(frozen=True)
class Seen:
    """A draw and what captures show of it.

    rider: empty where the fit is not loaded yet. made: code of the step that the next capture shows; empty for none, None where
    it is not known, `other` for more than a step. before, after: the outcome at both captures; both: once both steps were made.
    """

    draw: Draw
    rider: str = ""
    is_waiting: bool = True
    made: str | None = None
    before: float | None = None
    after: float | None = None
    both: float | None = None

    @property
    def change(self) -> float | None:
        return None if self.before is None or self.after is None else self.after - self.before

    @property
    def left(self) -> float | None:
        return None if self.before is None or self.both is None else self.both - self.before


def logged(warehouse: Path) -> Logged:
    """What the logbook of a warehouse holds. Raises LogbookError where it cannot be read."""
    drawing = Drawing(warehouse)
    return Logged(drawing.comparisons(), drawing.draws())


def recorded(warehouse: Warehouse, book: Logged) -> list[tuple[About, list[Seen]]]:
    """Every comparison with its draws, the newest first; of one that both hold, the logbook's own."""
    rows = warehouse.rows(SQL / "drawn_loaded.sql")
    own = {one.comparison_id for one in book.comparisons}
    draws = {
        one.comparison_id: [draw for draw in book.draws if draw.comparison_id == one.comparison_id] for one in book.comparisons
    }
    abouts = [_about(one) for one in book.comparisons]
    for row in rows:
        name = row["comparison_id"]
        if name in own:
            continue
        if name not in draws:
            abouts.append(_about_of_row(row))
        draws.setdefault(name, []).append(_draw_of_row(row, len(draws.get(name, ())) + 1))
    sessions = sorted({draw.session_id for listed in draws.values() for draw in listed if draw.session_id})
    captures: dict[tuple[str, str], list[dict[str, Any]]] = {}
    for row in warehouse.rows(SQL / "drawn_captures.sql", {"sessions": sessions}) if sessions else []:
        captures.setdefault((row["session_id"], row["side"]), []).append(row)
    newest_first = sorted(abouts, key=lambda one: (one.opened_on, one.comparison_id), reverse=True)
    return [
        (about, [_seen(about, draw, captures.get((draw.session_id, draw.side), [])) for draw in draws[about.comparison_id]])
        for about in newest_first
    ]


def is_as_sealed(about: About, seen: Iterable[Seen]) -> bool | None:
    """Whether the seed that was revealed is the one that was sealed, and gives every draw; None before it is revealed."""
    if not about.seed:
        return None
    from shared.errors import LogbookError

    try:
        return not differing(tuple(one.draw for one in seen), about.seed, about.commitment)
    except LogbookError:
        return False


def _about(one: Comparison) -> About:
    return About(
        comparison_id=one.comparison_id,
        first_step=one.first_step,
        second_step=one.second_step,
        outcome=one.outcome,
        feet=feet_words(one.arch_height, one.forefoot, one.insole_level, one.total_shims, one.knee),
        opened_on=date.fromisoformat(one.opened_at[:10]),
        closed_on=None if one.is_open else date.fromisoformat(one.closed_at[:10]),
        stop_after=one.stop_after,
        commitment=one.commitment,
        # Told by no face before the comparison is closed.
        seed="" if one.is_open else one.seed,
    )


def _about_of_row(row: Mapping[str, Any]) -> About:
    same = ("comparison_id", "first_step", "second_step", "outcome", "opened_on", "closed_on", "stop_after", "commitment")
    feet = feet_words(row["arch_height"], row["forefoot"], row["insole_level"], row["total_shims"], row["knee"])
    return About(**{name: row[name] for name in same}, feet=feet, seed=row["seed"] or "" if row["closed_on"] else "")


def _draw_of_row(row: Mapping[str, Any], number: int) -> Draw:
    same = ("comparison_id", "stratum", "block", "block_size", "place", "drawn", "session_id", "side", "capture_before")
    at = f"{row['drawn_at']:%Y-%m-%dT%H:%M:%S}"
    return Draw(**{name: row[name] for name in same}, draw_no=number, drawn_at=at, drawn_by="")


def _seen(about: About, draw: Draw, captures: list[dict[str, Any]]) -> Seen:
    """What the captures of the drawn knee show."""
    later = [row for row in captures if row["capture_no"] > draw.capture_before]
    before = next((row for row in captures if row["capture_no"] == draw.capture_before), None)
    if not captures:
        return Seen(draw)
    rider = captures[0]["rider_id"]
    if before is None or not later:
        return Seen(draw, rider, is_waiting=False)
    setup = _setup(before)
    made = step_between(setup, _setup(later[0]))
    whole = {about.first_step, about.second_step}
    both = next((row for row in later[1:] if _is_both(setup, _setup(row), whole)), None)
    return Seen(
        draw,
        rider,
        is_waiting=False,
        made="other" if made is None else made,
        before=_outcome(before, about.outcome),
        after=_outcome(later[0], about.outcome),
        both=None if both is None else _outcome(both, about.outcome),
    )


def _is_both(before: Setup, now: Setup, steps: set[str]) -> bool:
    """Whether a setup differs from the one before by both steps and nothing else."""
    parts = (
        step_between(before, before.model_copy(update={"insole_level": now.insole_level})),
        step_between(before, before.model_copy(update={"total_shims": now.total_shims})),
        step_between(before, before.model_copy(update={"stance_mm": now.stance_mm})),
    )
    return {part for part in parts if part != ""} == steps


def _setup(row: Mapping[str, Any]) -> Setup:
    return Setup.model_construct(
        insole_level=row["insole_level"], total_shims=int(row["total_shims"]), shims_built_in=0, stance_mm=row["stance_mm"]
    )


def _outcome(row: Mapping[str, Any], outcome: str) -> float | None:
    value = row["knee_sway_mm" if outcome == "sway" else "knee_tilt_deg"]
    if value is None or np.isnan(value):
        return None
    return abs(value) if outcome == "off_neutral" else float(value)

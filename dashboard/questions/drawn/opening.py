"""Opening a comparison and drawing in it: what is asked of both before the logbook takes them."""

from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Final

from dashboard.questions.drawn.steps import STEPS, feet_words, require_equally_right
from shared.errors import UsageError
from shared.logbook.drawing import MAY_OVERRULE, Comparison, Drawing, Feet
from shared.settings import Settings
from shared.statistics.wording import counted
from shared.warehouse import open_reading

_SIDES: Final = ("left", "right")
_MOST_CHARACTERS: Final = 100


@dataclass(frozen=True)
class NextDraw:
    """What was drawn for a fit, in words."""

    comparison_id: str
    words: str


def open_drawn(
    warehouse: Path,
    settings: Settings,
    steps: tuple[str, str],
    feet: Feet,
    outcome: str,
    *,
    stop_after: int,
    stop_on: date,
    by: str,
    confirmed: str,
) -> Comparison:
    """Opens a comparison of two steps that the exam leaves equally right for such feet. Raises UsageError where it may not."""
    require_equally_right(steps, feet, settings)
    return Drawing(warehouse).open(steps, feet, outcome, stop_after=stop_after, stop_on=stop_on, by=by, confirmed=confirmed)


def draw_next(warehouse: Path, comparison_id: str, session_id: str, side: str, *, after: int, fitter: str, by: str) -> NextDraw:
    """Draws for a knee of a fit before its next capture. Raises UsageError where that capture is loaded already."""
    session_id, fitter = session_id.strip(), fitter.strip()
    if side not in _SIDES:
        raise UsageError(f"side: found {side!r}, expected left or right.")
    for name, given in (("fit", session_id), ("fitter", fitter)):
        if not 0 < len(given) <= _MOST_CHARACTERS:
            raise UsageError(f"{name}: expected an id of 1 to {_MOST_CHARACTERS} characters.")
    if _is_captured(warehouse, session_id, after):
        raise UsageError(
            f"{session_id}: a capture after number {after} is loaded already. It is drawn before the capture, or not at all."
        )
    drawing = Drawing(warehouse)
    drawn = drawing.draw(comparison_id, session_id, side, capture_before=after, stratum=fitter, by=by)
    comparison = next(one for one in drawing.comparisons() if one.comparison_id == comparison_id)
    words = (
        f"{session_id}, {side} knee, draw {drawn.draw_no} of {comparison.stop_after}: "
        f"{STEPS[comparison.step(drawn.drawn)]} comes first. {MAY_OVERRULE}"
    )
    return NextDraw(comparison_id, words)


def _is_captured(warehouse: Path, session_id: str, after: int) -> bool:
    if not warehouse.exists():
        return False
    opened = open_reading(warehouse)
    try:
        later = "SELECT count(*) FROM core.knee_captures WHERE session_id = $session AND capture_no > $after"
        return bool(opened.value(later, {"session": session_id, "after": after}))
    finally:
        opened.close()


def comparison_words(one: Comparison, n_drawn: int) -> str:
    """A comparison in a line."""
    feet = feet_words(one.arch_height, one.forefoot, one.insole_level, one.total_shims, one.knee)
    state = "open" if one.is_open else f"closed on {one.closed_at[:10]} ({one.why_closed})"
    return (
        f"{one.comparison_id}: {STEPS[one.first_step]} or {STEPS[one.second_step]} first, for {feet}; {one.outcome}; "
        f"{n_drawn} of {counted(one.stop_after, 'draw')}, until {one.stop_on}; {state}; seal {one.commitment}"
    )

"""Goals as one reader may set them: for the owner and the head fitter, each kept with who set it and when."""

from datetime import date
from typing import Final

from dashboard.questions.door.asked_by import AskedBy
from dashboard.questions.door.entering import THIS_MACHINE
from dashboard.questions.door.readers import Reader
from dashboard.questions.studio.goals import written
from dashboard.questions.studio.headline_figures import HEADLINE
from shared.errors import NotPermittedError, UsageError
from shared.logbook.entries import Entry

# The unit of each headline figure that is no share, and how far it goes.
_POINTS: Final = {"comfort_gained": 10.0}


def unit_of(figure: str) -> str:
    return "points" if figure in _POINTS else "share"


def set_goal(asked: AskedBy, figure: str, value: float, day: date | None = None) -> Entry:
    """Sets what a headline figure is to reach from a day on (today's without one), until the day of a later goal.

    Raises NotPermittedError for who may not, UsageError for another figure or a value that it cannot have.
    """
    reader = _leading(asked)
    if figure not in HEADLINE:
        raise UsageError(f"Found {figure!r}, expected one of {', '.join(HEADLINE)}.")
    most = _POINTS.get(figure, 1.0)
    if not 0 <= value <= most:
        expected = f"{written(0, unit_of(figure))} to {written(most, unit_of(figure))}"
        raise UsageError(f"{HEADLINE[figure]}: found {written(value, unit_of(figure))}, expected a goal of {expected}.")
    by, day = reader.name or THIS_MACHINE, day or asked.today()
    entry = asked.logbook().add("goal", "figure", figure, by=by, value=value, day=day)
    asked.notes.done("set a goal", f"{entry.entry_id} {figure}")
    return entry


def drop_goal(asked: AskedBy, entry_id: str) -> Entry:
    """Takes a goal back, so that the one before it holds; it stays in the logbook. Raises as `set_goal`."""
    reader = _leading(asked)
    asked.logbook().found(entry_id, "goal")
    entry = asked.logbook().say(entry_id, "dropped", by=reader.name or THIS_MACHINE)
    asked.notes.done("dropped a goal", entry_id)
    return entry


def _leading(asked: AskedBy) -> Reader:
    reader = asked.require_more_than_calls()
    if reader.own_cases_only:
        raise NotPermittedError("Goals are set by the owner and the head fitter. Ask one of them.")
    return reader


def value_given(text: str) -> float:
    """A goal as it is typed: 0.8, 80 % or 2.5. Raises UsageError for what is no number."""
    bare = text.strip().replace("\N{NO-BREAK SPACE}", "")
    try:
        return float(bare.removesuffix("%")) / 100 if bare.endswith("%") else float(bare)
    except ValueError:
        raise UsageError(f"Found {text[:40]!r}, expected a goal as 80%, 0.8 or 2.5.") from None

"""Drawn orders as one reader may: opening and closing is for the head fitter and the owner, a fitter draws for own fits."""

from datetime import date

from dashboard.questions.door.asked_by import AskedBy
from dashboard.questions.drawn.opening import draw_next, open_drawn
from shared.errors import NotPermittedError, UsageError
from shared.logbook.drawing import Comparison, Drawing, Feet

_THIS_MACHINE = "this machine"


def open_comparisons(asked: AskedBy) -> tuple[Comparison, ...]:
    """The comparisons of the logbook that are open. Their seeds are told to nobody."""
    asked.require_more_than_calls()
    return tuple(one for one in Drawing(asked.path).comparisons() if one.is_open)


def draw_as(asked: AskedBy, comparison_id: str, session_id: str, side: str, *, after: int, fitter: str) -> str:
    """Draws for a knee of a fit and tells what comes first; without a comparison in the one that is open.

    Raises NotPermittedError where a fitter draws for another, UsageError where no comparison, or none of several, is named.
    """
    reader = asked.require_more_than_calls()
    if reader.own_cases_only and fitter not in ("", reader.fitter_id):
        raise NotPermittedError("A fitter draws for own fits. Leave the fitter empty.")
    given = fitter or reader.fitter_id or ""
    if not comparison_id:
        known = open_comparisons(asked)
        if len(known) != 1:
            raise UsageError("No comparison is open." if not known else "Several comparisons are open: name one.")
        comparison_id = known[0].comparison_id
    by = reader.name or _THIS_MACHINE
    drawn = draw_next(asked.path, comparison_id, session_id, side, after=after, fitter=given, by=by)
    asked.notes.done("drew", f"{comparison_id} {session_id}")
    return drawn.words


def open_as(
    asked: AskedBy, steps: tuple[str, str], feet: Feet, outcome: str, *, stop_after: int, stop_on: date, confirmed: str
) -> Comparison:
    """Opens a comparison. Raises NotPermittedError for a fitter, UsageError where it may not be opened."""
    by = _leading(asked)
    opened = open_drawn(
        asked.path, asked.settings, steps, feet, outcome, stop_after=stop_after, stop_on=stop_on, by=by, confirmed=confirmed
    )
    asked.notes.done("opened a comparison", opened.comparison_id)
    return opened


def close_as(asked: AskedBy, comparison_id: str, why: str) -> Comparison:
    """Closes a comparison. Raises NotPermittedError for a fitter, UsageError where it is closed already."""
    by = _leading(asked)
    closed = Drawing(asked.path).close(comparison_id, why=why, by=by)
    asked.notes.done("closed a comparison", comparison_id)
    return closed


def _leading(asked: AskedBy) -> str:
    reader = asked.reader()
    if not reader.may_load:
        raise NotPermittedError("Opening and closing a comparison is for the head fitter and the owner. Ask one of them.")
    return reader.name or _THIS_MACHINE

"""What a reader sees of an answer: enforced where questions are answered, so that no page, download or command can pass it by.

A fitter sees the studio's figures as `given` gives them out, and cases (riders, fits, bookings, flags) only of their own fits:
lists of cases are asked anew over the fitter's own fits. The owner sees all but what was noted of a rider. A list that is
named nowhere is kept from a fitter. The front desk sees a question only where it is said what of it.
"""

from contextlib import suppress
from dataclasses import replace
from typing import Any, Final

from dashboard.questions.door.asking import Asker
from dashboard.questions.door.given import Only, StudioFigures
from dashboard.questions.door.question import Sight
from dashboard.questions.door.readers import Reader
from dashboard.questions.door.registry import question_named
from dashboard.questions.riders.answers_riders import RiderTimeline
from dashboard.questions.selection.answers import Answer
from dashboard.questions.selection.selection import Selection
from shared.errors import NotPermittedError, NotReleasedError, StatisticsError

CALLS_ONLY: Final = "The front desk sees whom to call, and nothing else of a rider. Ask the owner or the head fitter."
_DESK_ASKS: Final = frozenset({"date_from", "date_to", "studio", "fitter", "rider"})


def answer_for(reader: Reader, asker: Asker, question: str, selection: Selection, only: Only) -> Answer:
    """What the reader sees of the answer to a question of `asker`.

    Raises NotPermittedError where a fitter asks for the figures of another fitter, or the front desk for any;
    NotReleasedError where a fitter asks for the studio's figures of other groups than are given out.
    """
    sight = question_named(question).sight
    if reader.calls_only:
        if sight.for_desk is None:
            raise NotPermittedError(CALLS_ONLY)
        return sight.for_desk(asker.ask(question, _without_measures(selection), **only))  # type: ignore[no-any-return]
    if not reader.own_cases_only:
        answer = asker.ask(question, selection, **only)
        return answer if reader.sees_notes or not sight.without_notes else sight.without_notes(answer)
    own = replace(selection, fitter=(reader.fitter_id or "",))
    if selection.fitter and selection.fitter != own.fitter:
        raise NotPermittedError(
            f"fitter: found {', '.join(selection.fitter)}, expected {reader.fitter_id}: a fitter sees the studio's figures and "
            "their own cases. Leave the fitter out, or ask the head fitter."
        )
    if sight.is_case:
        answer = asker.ask(question, own, **only)
        return _with_closed_noise(answer, asker, reader) if isinstance(answer, RiderTimeline) else answer
    if not sight.of_all_fits and (selection.fitter or selection.rider):
        return _own_sight(sight, asker.ask(question, own, **only), reader)
    return _studio_sight(question, asker, selection, own, reader, only)


def _without_measures(selection: Selection) -> Selection:
    """The selection, which may not sort out riders by what was measured of them. Raises NotPermittedError where it does."""
    asked = {name for name, value in vars(selection).items() if value}
    if not asked <= _DESK_ASKS:
        raise NotPermittedError(f"{CALLS_ONLY} Choose by dates, studio, fitter or rider alone.")
    return selection


def _with_closed_noise(answer: RiderTimeline, asker: Asker, reader: Reader) -> RiderTimeline:
    """A rider's fits, with the noise of the closed quarters: that of all fits changes with each rider who is loaded."""
    noise: Any = None
    with suppress(NotReleasedError, StatisticsError):
        noise = StudioFigures(asker, reader).ask("noise", Selection())
    knees = (replace(row, mdc95=None if row.mdc95 is None else round(row.mdc95, 1)) for row in answer.knees)
    return replace(answer, noise=noise.noise if noise else (), knees=tuple(knees))


def _own_sight(sight: Sight, answer: Answer, reader: Reader) -> Answer:
    """The answer over the fitter's own fits, without what it tells of other fitters."""
    decided = sight.decided() - sight.kept
    emptied: dict[str, Any] = {name: () for name in type(answer).lists() if name not in decided}
    return replace(answer, **emptied, **_own_rows(sight, answer, reader))


def _studio_sight(question: str, asker: Asker, selection: Selection, own: Selection, reader: Reader, only: Only) -> Answer:
    """The studio's figures as far as they are given out, and the fitter's own cases of the dates and filters asked for."""
    sight, asked = question_named(question).sight, replace(selection, fitter=(), rider=())
    answer = StudioFigures(asker, reader).ask(question, asked, **only)
    answer = replace(answer, **_own_rows(sight, answer, reader))
    if not sight.own_cases:
        return answer
    try:
        cases = _own_sight(sight, asker.ask(question, own, **only), reader)
    except StatisticsError:
        return answer
    return replace(answer, **{name: getattr(cases, name) for name in sight.own_cases})


def _own_rows(sight: Sight, answer: Answer, reader: Reader) -> dict[str, Any]:
    return {
        name: tuple(row for row in getattr(answer, name) if rows.is_seen(row, reader.fitter_id))
        for name, rows in sight.own_rows.items()
    }

"""What a reader sees of an answer: enforced where questions are answered, so that no page, download or command can pass it by.

A fitter sees the studio's figures as `given` gives them out, and cases (riders, fits, bookings, flags) only of their own fits:
lists of cases are asked anew over the fitter's own fits. The owner sees all but what was noted of a rider. A list that is
named nowhere is kept from a fitter.
"""

from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace
from typing import Any, Final

from dashboard.questions.data.answers_data import Data, RejectRow
from dashboard.questions.door.asking import Asker
from dashboard.questions.door.counted_rows import FIGURES
from dashboard.questions.door.given import Only, StudioFigures
from dashboard.questions.door.readers import Reader
from dashboard.questions.door.tidied import FOLLOWING
from dashboard.questions.riders.answers_riders import RiderTimeline
from dashboard.questions.selection.answers import Answer
from dashboard.questions.selection.selection import Selection
from shared.catalogue import catalogue
from shared.errors import NotPermittedError, NotReleasedError, StatisticsError

# Lists of cases, and of the fitter's own work: asked anew over the fitter's own fits.
OWN_CASES: Final[dict[str, frozenset[str]]] = {
    "returns": frozenset({"overdue"}),
    "asymmetry": frozenset({"knees"}),
    "agreement": frozenset({"look_at", "fitters"}),
}
# Lists whose rows tell of fitters: a fitter sees those of their own, by (whether a row tells of a fitter, of which one).
OWN_ROWS: Final[dict[str, dict[str, Callable[[Any], tuple[bool, str]]]]] = {
    "fitters": {"fitters": lambda row: (True, row.fitter_id), "process": lambda row: (True, row.fitter_id)},
    "agreement": {"fitters": lambda row: (True, row.level)},
    "noise": {"groups": lambda row: (row.group == "fitter", row.level)},
    "trends": {"beside": lambda row: (row.beside.startswith("fitter"), "")},
}
# Lists that a fitter sees of their own fits alone: one rider a row, or values of single knees.
OWN_ONLY: Final[dict[str, frozenset[str]]] = {
    "effects": frozenset({"influence", "residuals"}),
    "sides": frozenset({"sides"}),
}
# Lists that a fitter never sees: they name riders or sessions of others, or hold rows as they were received.
KEPT_FROM_FITTERS: Final[dict[str, frozenset[str]]] = {
    "data": frozenset({"rejects", "warnings", "waiting"}),
}
# Questions that tell of all fits, whichever fitter is chosen.
_OF_ALL: Final = frozenset({"data", "fitters"})
_NOTES: Final = "notes"


def decided_lists(question: str) -> frozenset[str]:
    """The lists of an answer of which it is decided what a fitter sees; of a list that is not, a fitter sees nothing."""
    seen_lists = (*FIGURES.get(question, ()), *FOLLOWING.get(question, ()), *OWN_CASES.get(question, ()))
    own = (*OWN_ROWS.get(question, ()), *OWN_ONLY.get(question, ()), *KEPT_FROM_FITTERS.get(question, ()))
    return frozenset((*seen_lists, *own))


def answer_for(reader: Reader, asker: Asker, question: str, selection: Selection, only: Only) -> Answer:
    """What the reader sees of the answer to a question of `asker`.

    Raises NotPermittedError where a fitter asks for the figures of another fitter, NotReleasedError where a fitter asks for the
    studio's figures of other groups than are given out.
    """
    if not reader.own_cases_only:
        answer = asker.ask(question, selection, **only)
        return answer if reader.sees_notes else _without_notes(answer)
    own = replace(selection, fitter=(reader.fitter_id or "",))
    if selection.fitter and selection.fitter != own.fitter:
        raise NotPermittedError(
            f"fitter: found {', '.join(selection.fitter)}, expected {reader.fitter_id}: a fitter sees the studio's figures and "
            "their own cases. Leave the fitter out, or ask the head fitter."
        )
    # One rider is a case.
    if question == "riders":
        answer = asker.ask(question, own, **only)
        return _told_by_closed_noise(answer, asker, reader) if isinstance(answer, RiderTimeline) else answer
    if question not in _OF_ALL and (selection.fitter or selection.rider):
        return _own_sight(question, asker.ask(question, own, **only), reader)
    return _studio_sight(question, asker, selection, own, reader, only)


def _told_by_closed_noise(answer: RiderTimeline, asker: Asker, reader: Reader) -> RiderTimeline:
    """A rider's fits, with the noise of the closed quarters: that of all fits changes with each rider who is loaded."""
    noise: Any = None
    with suppress(NotReleasedError, StatisticsError):
        noise = StudioFigures(asker, reader).ask("noise", Selection())
    knees = (replace(row, mdc95=None if row.mdc95 is None else round(row.mdc95, 1)) for row in answer.knees)
    return replace(answer, noise=noise.noise if noise else (), knees=tuple(knees))


def _own_sight(question: str, answer: Answer, reader: Reader) -> Answer:
    """The answer over the fitter's own fits, without what it tells of other fitters."""
    decided = decided_lists(question) - KEPT_FROM_FITTERS.get(question, frozenset())
    shown: dict[str, Any] = {name: () for name in type(answer).lists() if name not in decided}
    return replace(answer, **shown, **_own_rows(question, answer, reader))


def _studio_sight(question: str, asker: Asker, selection: Selection, own: Selection, reader: Reader, only: Only) -> Answer:
    """The studio's figures as far as they are given out, and the fitter's own cases of the dates and filters asked for."""
    asked = replace(selection, fitter=(), rider=())
    answer = StudioFigures(asker, reader).ask(question, asked, **only)
    answer = replace(answer, **_own_rows(question, answer, reader))
    if question not in OWN_CASES:
        return answer
    try:
        cases = _own_sight(question, asker.ask(question, own, **only), reader)
    except StatisticsError:
        return answer
    return replace(answer, **{name: getattr(cases, name) for name in OWN_CASES[question]})


def _own_rows(question: str, answer: Answer, reader: Reader) -> dict[str, Any]:
    return {
        name: tuple(row for row in getattr(answer, name) if _is_own(tells(row), reader))
        for name, tells in OWN_ROWS.get(question, {}).items()
    }


def _is_own(told: tuple[bool, str], reader: Reader) -> bool:
    tells_of_fitter, fitter = told
    return not tells_of_fitter or fitter == reader.fitter_id


def _without_notes(answer: Answer) -> Answer:
    """The answer without what was noted of riders, and without notes in rows as they were received."""
    if isinstance(answer, RiderTimeline):
        return replace(answer, fits=tuple(replace(fit, notes=None) for fit in answer.fits))
    if isinstance(answer, Data):
        return replace(answer, rejects=tuple(_as_owner(row) for row in answer.rejects))
    return answer


def _as_owner(row: RejectRow) -> RejectRow:
    """A rejected row as the owner sees it: where its table holds notes, not as it was received."""
    if not holds_notes(row.table):
        return row
    return replace(row, received="{}", value=None if row.column == _NOTES else row.value)


def holds_notes(table: str) -> bool:
    """Whether a table has a column of what was noted of a rider."""
    return table in catalogue() and _NOTES in catalogue()[table].column_names

"""What a reader sees of an answer: enforced where questions are answered, so that no page, download or command can pass it by.

A fitter sees the studio's figures, and cases (riders, fits, bookings, flags) only of their own fits: lists of cases are
asked anew over the fitter's own fits. The owner sees all but what was noted of a rider. A list that is not named here
is kept from a fitter.
"""

from collections.abc import Callable
from dataclasses import replace
from typing import Any, Final

from dashboard.questions.answers import Answer, Data, RejectRow
from dashboard.questions.answers_riders import RiderTimeline
from dashboard.questions.readers import Reader
from dashboard.questions.selection import Selection
from shared.catalogue import catalogue
from shared.errors import NotPermittedError

# Lists by question that a fitter sees as everyone does: figures of groups.
FIGURES: Final[dict[str, frozenset[str]]] = {
    "effects": frozenset({"effects", "families", "dose", "responders", "off_neutral", "residuals"}),
    "studio": frozenset({"figures", "trend"}),
    "noise": frozenset({"noise"}),
    "data": frozenset({"tables", "loads", "reasons", "quality", "left_out", "exams"}),
    "returns": frozenset({"figures", "curve", "at_risk", "comparisons", "lasting", "said"}),
    "trends": frozenset({"trend", "charts", "signals", "notes"}),
    "fitters": frozenset({"dispersion", "funnel"}),
    "asymmetry": frozenset({"prevalence", "change", "patterns", "flow", "differences", "curve", "repeats"}),
    "ratings": frozenset({"ratings", "body_parts"}),
    "types": frozenset({"types", "alike"}),
    "agreement": frozenset({"agreement", "months", "rules", "outcomes", "shim_places"}),
    "sides": frozenset({"sides"}),
    "riders": frozenset(),
    "periods": frozenset({"periods", "changes"}),
}
# Lists of cases, asked anew over the fitter's own fits.
OWN_CASES: Final[dict[str, frozenset[str]]] = {
    "returns": frozenset({"overdue"}),
    "asymmetry": frozenset({"knees"}),
    "agreement": frozenset({"look_at"}),
}
# Lists whose rows tell of fitters: a fitter sees those of their own, by (whether a row tells of a fitter, of which one).
OWN_ROWS: Final[dict[str, dict[str, Callable[[Any], tuple[bool, str]]]]] = {
    "fitters": {"fitters": lambda row: (True, row.fitter_id), "process": lambda row: (True, row.fitter_id)},
    "agreement": {"fitters": lambda row: (True, row.level)},
    "noise": {"groups": lambda row: (row.group == "fitter", row.level)},
    "trends": {"beside": lambda row: (row.beside.startswith("fitter"), "")},
}
# Lists that a fitter never sees: they name riders or sessions of others, or hold rows as they were received.
KEPT_FROM_FITTERS: Final[dict[str, frozenset[str]]] = {
    "effects": frozenset({"influence"}),
    "data": frozenset({"rejects", "warnings", "waiting"}),
}
_NOTES: Final = "notes"


def narrowed(question: str, selection: Selection, reader: Reader) -> Selection:
    """The selection that the reader may ask with.

    Raises NotPermittedError where a fitter asks for the figures of another fitter.
    """
    if not reader.own_cases_only:
        return selection
    own = own_fits(selection, reader)
    if selection.fitter and selection.fitter != own.fitter:
        raise NotPermittedError(
            f"fitter: found {', '.join(selection.fitter)}, expected {reader.fitter_id}: a fitter sees the studio's figures and "
            "their own cases. Leave the fitter out, or ask the head fitter."
        )
    # One rider is a case.
    return own if question == "riders" or selection.rider else selection


def own_fits(selection: Selection, reader: Reader) -> Selection:
    """The same selection over the fitter's own fits."""
    return replace(selection, fitter=(reader.fitter_id or "",))


def seen(question: str, answer: Answer, reader: Reader, ask_own: Callable[[], Answer]) -> Answer:
    """What the reader sees of an answer; `ask_own` answers the same question over the fitter's own fits."""
    if reader.own_cases_only and question != "riders":
        return _fitters_sight(question, answer, reader, ask_own)
    return answer if reader.sees_notes else _without_notes(answer)


def _fitters_sight(question: str, answer: Answer, reader: Reader, ask_own: Callable[[], Answer]) -> Answer:
    shown: dict[str, Any] = {}
    cases = OWN_CASES.get(question, frozenset())
    if cases:
        own = ask_own()
        shown |= {name: getattr(own, name) for name in cases}
    for name, tells in OWN_ROWS.get(question, {}).items():
        shown[name] = tuple(row for row in getattr(answer, name) if _is_own(tells(row), reader))
    for name in type(answer).lists():
        if name not in shown and name not in FIGURES.get(question, frozenset()):
            shown[name] = ()
    if question == "fitters":
        shown["headline"] = "Your own fits beside what is expected of their riders; those of others are for the head fitter."
    return replace(answer, **shown)


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

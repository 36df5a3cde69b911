"""The frozen answer of the question whom to call today. Riders are known by the studio's own ids."""

from dataclasses import dataclass
from datetime import date
from typing import ClassVar

from dashboard.questions.selection.answers import Answer


@dataclass(frozen=True)
class CallRow:
    """One rider to call today: over (an open booking past its day), due (of today), not_booked (no booking, and the days for
    one are past). days_over: from that day to today. due_on, follow_up_id, booked_on: None where nothing was booked. marked:
    what was said of an earlier call, empty for none. last_result: how the fit felt, empty for who may not see it.
    """

    state: str
    rider_id: str
    days_over: int
    studio_id: str
    fitter_id: str
    session_id: str
    session_date: date
    due_on: date | None
    follow_up_id: str | None
    booked_on: date | None
    words: str
    marked: str = ""
    last_result: str = ""


@dataclass(frozen=True)
class MarkedRow:
    """One rider who would be called, and was marked: called, booked (for `until`), declined, or again (on `until`)."""

    mark: str
    rider_id: str
    studio_id: str
    fitter_id: str
    session_id: str
    until: date | None
    words: str


@dataclass(frozen=True)
class BookedRow:
    """One open booking that is due after today."""

    rider_id: str
    due_on: date
    days_ahead: int
    studio_id: str
    fitter_id: str
    session_id: str
    session_date: date
    follow_up_id: str
    booked_on: date


@dataclass(frozen=True)
class StateRow:
    """How many fits stand in one state today, of all that ask for a follow-up or have an open booking."""

    state: str
    n_fits: int
    words: str


@dataclass(frozen=True)
class Calls(Answer):
    """Whom to call on the day `today`: longest over first; beside them who was marked, what is booked ahead, and every fit by
    its state.
    """

    rows_name: ClassVar[str] = "calls"
    today: date
    n_fits: int
    n_riders: int
    headline: str
    calls: tuple[CallRow, ...]
    booked: tuple[BookedRow, ...]
    states: tuple[StateRow, ...]
    marked: tuple[MarkedRow, ...] = ()

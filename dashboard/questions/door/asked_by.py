"""The asker as one reader sees it: the same answers, less what the reader's role leaves out."""

from collections.abc import Callable
from dataclasses import fields, replace
from datetime import date
from pathlib import Path
from typing import Final, TypeVar

from dashboard.questions.door.asking import Asker, Choices
from dashboard.questions.door.given import StudioFigures
from dashboard.questions.door.notes import holds_notes
from dashboard.questions.door.readers import NoNotes, Notes, Reader, Role
from dashboard.questions.door.sight import CALLS_ONLY, answer_for
from dashboard.questions.foresight.answers_foresight import Next
from dashboard.questions.foresight.knees import Form
from dashboard.questions.riders.riders_found import riders_known
from dashboard.questions.selection.answers import Answer
from dashboard.questions.selection.selection import Selection
from shared.errors import NotPermittedError
from shared.freshness import Freshness
from shared.ran import Ran
from shared.settings import Settings
from shared.warehouse import Warehouse

_Result = TypeVar("_Result")
# A list with one of these columns tells of single riders.
_CASES: Final = frozenset({"rider_id", "session_id", "received"})


class AskedBy:
    """Stands in an Asker's place; `reader` tells who asks, at every call, and `notes` takes note of cases that are given."""

    def __init__(self, asker: Asker, reader: Callable[[], Reader], notes: Notes | None = None) -> None:
        self._asker = asker
        self._reader = reader
        self.notes: Notes = notes or NoNotes()

    def reader(self) -> Reader:
        """Who asks now. Raises NotPermittedError where that is nobody."""
        reader = self._reader()
        if reader.role is Role.NOBODY:
            raise NotPermittedError("Sign in first: open the dashboard's first page again.")
        return reader

    def require_more_than_calls(self) -> Reader:
        """Who asks. Raises NotPermittedError where that is the front desk, which sees calls alone."""
        reader = self.reader()
        if reader.calls_only:
            raise NotPermittedError(CALLS_ONLY)
        return reader

    @property
    def path(self) -> Path:
        return self._asker.path

    @property
    def settings(self) -> Settings:
        return self._asker.settings

    def ask(self, question: str, selection: Selection, **only: tuple[str, ...]) -> Answer:
        """As Asker.ask, for the reader. Raises NotPermittedError for what the reader may not ask."""
        given = answer_for(self.reader(), self._asker, question, selection, only)
        riders = named_riders(self._asker, selection, self.fitter)
        if riders or holds_cases(given):
            self.notes.opened(question, riders)
        return given

    def ran(self) -> dict[str, frozenset[Ran]]:
        """As Asker.ran: names of tables and files alone."""
        self.require_more_than_calls()
        return self._asker.ran()

    def foresee(self, form: Form) -> Next:
        """What is foreseen for two knees as typed, without the cases that are most like them: no case is opened, and nothing is
        noted. A fitter is not told how many riders stand behind a group of feet."""
        reader = self.require_more_than_calls()
        answer = replace(self._asker.foresee(form), alike=())
        if not reader.own_cases_only:
            return answer
        return replace(answer, alike_told=(), setups=tuple(replace(row, n_alike=0, words="") for row in answer.setups))

    def look_up(self, look: Callable[[Warehouse], _Result]) -> _Result:
        """As Asker.look_up; the look itself must heed `fitter`."""
        self.require_more_than_calls()
        return self._asker.look_up(look)

    @property
    def fitter(self) -> str | None:
        """The fitter whose cases alone the reader may see; None where all."""
        reader = self.reader()
        return (reader.fitter_id or "") if reader.own_cases_only else None

    @property
    def closed_day(self) -> date | None:
        """The last day of the studio's figures that the reader is given; None where they reach to the data's end."""
        reader = self.reader()
        return StudioFigures(self._asker, reader).grid().closed if reader.own_cases_only else None

    def today(self) -> date:
        """As Asker.today."""
        return self._asker.today()

    def freshness(self) -> Freshness:
        """As Asker.freshness: a date of the whole studio, which every answer tells as `as_of`."""
        self.reader()
        return self._asker.freshness()

    def choices(self) -> Choices:
        """As Asker.choices; a fitter chooses among no other fitters."""
        choices = self._asker.choices()
        return choices if self.fitter is None else replace(choices, fitter=tuple(f for f in choices.fitter if f == self.fitter))

    def require_loading(self) -> None:
        """Raises NotPermittedError where the reader may not load, take back or read rejected rows."""
        if not self.reader().may_load:
            raise NotPermittedError(
                "Loading exports, taking loads back and reading rejected rows is for the owner and the head fitter. "
                "Ask one of them."
            )

    def require_received(self, table: str) -> None:
        """Raises NotPermittedError where the reader may not see the rejected rows of a table as they were received."""
        self.require_loading()
        if not self.reader().sees_notes and holds_notes(table):
            raise NotPermittedError(
                f"Rejected rows of {table} hold what was noted of riders, which is for those who fit them. Ask the head fitter."
            )


def named_riders(asker: Asker, selection: Selection, fitter: str | None = None) -> tuple[str, ...]:
    """The riders that a selection names, as a note of access tells them: an id that no rider has is a word that somebody typed,
    and of one whom `fitter` has not fitted nothing is given. `fitter` None: whose fits do not matter."""
    if not selection.rider:
        return ()
    return asker.look_up(lambda warehouse: riders_known(warehouse, selection.rider, fitter))


def holds_cases(answer: Answer) -> bool:
    """Whether an answer holds a list of single riders, fits or rows as they were received."""
    return any(
        getattr(answer, name) and not _CASES.isdisjoint(field.name for field in fields(row))
        for name, row in type(answer).lists().items()
    )

"""The asker as one reader sees it: the same answers, less what the reader's role leaves out."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TypeVar

from dashboard.questions.answers import Answer
from dashboard.questions.asking import Asker, Choices
from dashboard.questions.readers import Reader, Role
from dashboard.questions.selection import Selection
from dashboard.questions.sight import holds_notes, narrowed, own_fits, seen
from shared.errors import NotPermittedError
from shared.freshness import Freshness
from shared.settings import Settings
from shared.warehouse import Warehouse

_Found = TypeVar("_Found")


class AskedBy:
    """Stands in an Asker's place; `reader` tells who asks, at every call."""

    def __init__(self, asker: Asker, reader: Callable[[], Reader]) -> None:
        self._asker = asker
        self._reader = reader

    def reader(self) -> Reader:
        """Who asks now. Raises NotPermittedError where that is nobody."""
        reader = self._reader()
        if reader.role is Role.NOBODY:
            raise NotPermittedError("Sign in first: open the dashboard's first page again.")
        return reader

    @property
    def path(self) -> Path:
        return self._asker.path

    @property
    def settings(self) -> Settings:
        return self._asker.settings

    def ask(self, question: str, selection: Selection, **only: tuple[str, ...]) -> Answer:
        """As Asker.ask, for the reader. Raises NotPermittedError for what the reader may not ask."""
        reader = self.reader()
        asked = narrowed(question, selection, reader)
        answer = self._asker.ask(question, asked, **only)
        return seen(question, answer, reader, lambda: self._asker.ask(question, own_fits(asked, reader), **only))

    def look_up(self, look: Callable[[Warehouse], _Found]) -> _Found:
        """As Asker.look_up; the look itself must heed `fitter`."""
        self.reader()
        return self._asker.look_up(look)

    @property
    def fitter(self) -> str | None:
        """The fitter whose cases alone the reader may see; None where all."""
        reader = self.reader()
        return (reader.fitter_id or "") if reader.own_cases_only else None

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

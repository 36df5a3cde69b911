"""A desk whose asker knows a few answers that were written by hand, whatever is selected; for what pages make of them."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date
from importlib import import_module
from pathlib import Path
from typing import Any

from dashboard.components.address import Addresses
from dashboard.components.page import Desk, Page, Show
from dashboard.components.shown_rows import in_place
from dashboard.lineage.tables import ROOT
from dashboard.questions.door.asking import Choices
from dashboard.questions.door.readers import LOCAL, Reader, Role
from dashboard.questions.selection.selection import Selection
from shared.errors import FitledgerError, NotPermittedError
from shared.freshness import Freshness, freshness
from shared.logbook.entries import Entries
from shared.ran import Ran
from shared.settings import Settings
from tests.told.outline import outline

TODAY = date(2026, 7, 1)


class HandAsker:
    """Stands in for the asker of a reader; `answers` by their question, each as it is or by the selection."""

    path = Path("made.duckdb")
    settings = Settings()
    closed_day: date | None = None

    def __init__(
        self, answers: Mapping[str, Any], fitter: str | None = None, looked_up: Any = None, *, loads: bool = True
    ) -> None:
        self.answers, self.fitter, self.looked_up, self.loads = answers, fitter, looked_up, loads

    def ask(self, question: str, selection: Selection, **_: Any) -> Any:
        answer = self.answers[question]
        answer = answer(selection) if callable(answer) else answer
        if isinstance(answer, Exception):
            raise answer
        return answer

    def reader(self) -> Reader:
        return Reader("ada", Role.FITTER, self.fitter) if self.fitter else LOCAL

    require_more_than_calls = reader

    def look_up(self, _: Callable[[Any], Any]) -> Any:
        return self.looked_up

    def logbook(self) -> Entries:
        return Entries(self.path)

    def ran(self) -> dict[str, frozenset[Ran]]:
        """One question, of an exported table and of one that is made from another."""
        sql = ROOT / "dashboard/questions/returns/sql/returns_fits.sql"
        return {"returns": frozenset({(sql, "SELECT 1 FROM core.follow_ups, mart.fit_numbers")})}

    def foresee(self, _: Any) -> Any:
        return self.answers["next"]

    def require_loading(self) -> None:
        if not self.loads:
            raise NotPermittedError("Loading is for the owner.")

    require_received = require_loading

    def today(self) -> date:
        return TODAY

    def freshness(self) -> Freshness:
        return freshness(date(2026, 6, 28), TODAY, self.settings)

    def choices(self) -> Choices:
        return Choices(("mill", "quay"), ("F1", "F2"), ("road", "gravel"), date(2024, 1, 7), date(2026, 6, 30))


def page_of(folder: str) -> Page:
    """A page by its folder, as it stands now."""
    page: Page = import_module(f"dashboard.pages.{folder}.callbacks").PAGE
    return page


@dataclass(frozen=True)
class Case:
    """A page, by its folder, asked about answers written by hand. `places`: those that are compared, all of them without."""

    of: str
    answers: Mapping[str, Any]
    search: str = ""
    places: tuple[str, ...] = ()
    reader: Mapping[str, Any] = field(default_factory=dict)

    def __iter__(self) -> Iterator[str]:
        return iter(self.places or self._shows)

    @property
    def page(self) -> Page:
        return page_of(self.of)

    @property
    def _desk(self) -> Desk:
        return Desk(HandAsker(self.answers, **self.reader), Addresses("/"))  # type: ignore[arg-type]

    @property
    def _shows(self) -> dict[str, Show]:
        return self.page.shows(self._desk)

    def told(self, place: str) -> list[str]:
        """What stands in a place, as lines; a refusal stands for what it refuses."""
        try:
            return outline(in_place(self._shows[place], place, Addresses("/"))(self.search, "light"))
        except FitledgerError as refusal:
            return [f"{type(refusal).__name__}: {refusal}"]


@dataclass(frozen=True)
class Blocks:
    """Parts of pages that stand in no place, each made by itself: what a step of the reader's tells."""

    made: Mapping[str, Callable[[], Any]]

    def __iter__(self) -> Iterator[str]:
        return iter(self.made)

    def told(self, name: str) -> list[str]:
        return outline(self.made[name]())


@dataclass(frozen=True)
class Frame:
    """What stands still on a page: its question, each view with what is laid out there, and where older addresses lead."""

    of: str

    @property
    def page(self) -> Page:
        return page_of(self.of)

    def __iter__(self) -> Iterator[str]:
        return iter(view.name for view in self.page.views)

    def told(self, name: str) -> list[str]:
        view = next(one for one in self.page.views if one.name == name)
        lines = [] if view.path else [f"{self.page.path or 'the first page'}: {self.page.name}. {self.page.question}"]
        lines.append(f"{self.page.path_of(view) or '/'}{', by split' * view.splits}")
        for part in view.layout():
            lines += [f"place {part}"] if isinstance(part, str) else outline(part)
        lines += [f"filled by the view's own script: {place}" for place in view.scripted]
        return lines + [f"{old} leads here" for old, path in self.page.moved.items() if path == view.path]

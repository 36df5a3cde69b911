"""A desk whose asker knows a few answers that were written by hand, whatever is selected; for what pages make of them."""

from collections.abc import Callable, Mapping
from datetime import date
from pathlib import Path
from typing import Any

from dashboard.components.address import Addresses
from dashboard.components.page import Desk, Page
from dashboard.components.shown_rows import in_place
from dashboard.questions.door.asking import Choices
from dashboard.questions.door.readers import LOCAL, Reader, Role
from dashboard.questions.selection.selection import Selection
from shared.errors import FitledgerError, NotPermittedError
from shared.freshness import Freshness, freshness
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

    def look_up(self, _: Callable[[Any], Any]) -> Any:
        return self.looked_up

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


def desk_of(answers: Mapping[str, Any], **reader: Any) -> Desk:
    return Desk(HandAsker(answers, **reader), Addresses("/"))  # type: ignore[arg-type]


def page_told(page: Page, desk: Desk, search: str = "", places: tuple[str, ...] = ()) -> list[str]:
    """Every place of a page (or `places` alone) as lines, each under its name; a refusal stands for what it refuses."""
    lines = []
    for place, show in page.shows(desk).items():
        if places and place not in places:
            continue
        lines.append(f"--- {place}")
        try:
            lines += outline(in_place(show, place, desk.addresses)(search, "light"))
        except FitledgerError as refusal:
            lines.append(f"{type(refusal).__name__}: {refusal}")
    return lines


def frame_told(page: Page) -> list[str]:
    """What stands still on a page: its question, each view with what is laid out there, and where older addresses lead."""
    lines = [f"{page.path or 'the first page'}: {page.name}. {page.question}"]
    for view in page.views:
        lines.append(f"--- {page.path_of(view) or '/'}: {view.name}{', by split' * view.splits}")
        for part in view.layout():
            lines += [f"place {part}"] if isinstance(part, str) else outline(part)
        lines += [f"filled by the view's own script: {place}" for place in view.scripted]
    return lines + [f"--- {old} leads to {path or '/'}" for old, path in page.moved.items()]

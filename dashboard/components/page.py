"""What a page is, and what it is given."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from dash import Dash

from dashboard.components import html, ids
from dashboard.components.address import Addresses, View
from dashboard.components.notes import caution
from dashboard.questions.door.asked_by import AskedBy
from dashboard.questions.selection.selection import Selection


@dataclass(frozen=True)
class Desk:
    """What every page works with: the asker of one warehouse and the addresses of one served dashboard."""

    asker: AskedBy
    addresses: Addresses

    @property
    def level(self) -> float:
        """How sure the intervals are, 0 to 1."""
        return self.asker.settings.intervals.level

    def csv(self, question: str, rows: str, selection: Selection, every: str = "") -> str:
        return self.addresses.table(question, rows, selection, every)


# From the view, and the theme where it draws, to what stands in a place.
Show = Callable[[View, str | None], Any]


@dataclass(frozen=True)
class Page:
    """A page: its path (empty for the first), name, question and frame.

    `shows`: what stands in each of its places, by the place's id, the first place first; a served page and the report ask the
    same functions.
    `register`: adds the callbacks that it has beside those of its places.
    `splits`: its figures follow the word `split`, whose control is shown on such pages only.
    `scripted`: ids that the page's own script fills, beside those of its callbacks.
    """

    path: str
    name: str
    question: str
    layout: Callable[[], html.Div]
    shows: Callable[[Desk], dict[str, Show]]
    register: Callable[[Dash, Desk], None] | None = None
    splits: bool = False
    scripted: tuple[str, ...] = ()


def place(answer: str) -> html.Div:
    """An answer's place, by its id."""
    return html.Div(id=answer, className="answer")


def frame(name: str, question: str, *answers: str | html.Div) -> html.Div:
    """The frame of a page: name and question, one place for each answer's id or several together, and the caution, whatever is
    answered."""
    return html.Div(
        [
            html.H1(
                [html.Span(name, className="page-name"), html.Span(question, className="page-question")],
                id=ids.PAGE_TITLE,
                tabIndex=-1,
            ),
            *(place(answer) if isinstance(answer, str) else answer for answer in answers),
            caution(),
        ]
    )

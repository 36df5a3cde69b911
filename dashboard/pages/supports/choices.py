"""Choices within the page, as links: the outcome, and where on the page to go."""

from collections.abc import Sequence

from dash import dcc

from dashboard.components import html
from dashboard.components.page import Desk
from dashboard.figures.names import OUTCOMES
from dashboard.questions.selection.selection import Selection

PATH = "supports"
_ALL = "Tilt, sway and offset"


def outcome_address(desk: Desk, selection: Selection, outcome: str | None) -> str:
    """The page for one outcome, or for the main ones."""
    return desk.addresses.page(PATH, selection.query(), {"outcome": outcome} if outcome else None)


def outcome_links(
    desk: Desk, selection: Selection, chosen: str | None, outcomes: Sequence[str], *, label: str, with_all: bool
) -> html.Nav:
    """The choice of an outcome as links, so that it is part of the address."""
    codes: list[str | None] = [None, *outcomes] if with_all else [*outcomes]
    return html.Nav(
        html.Ul([html.Li(_choice(desk, selection, code, code == chosen)) for code in codes], className="choices"),
        **{"aria-label": label, "data-choices": label.lower()},
    )


def _choice(desk: Desk, selection: Selection, code: str | None, is_chosen: bool) -> dcc.Link:
    name = OUTCOMES[code].name if code else _ALL
    return dcc.Link(
        [name, html.Span(" (shown)", className="for-readers")] if is_chosen else name,
        href=outcome_address(desk, selection, code),
        className="choice is-chosen" if is_chosen else "choice",
    )


def contents(sections: Sequence[tuple[str, str]]) -> html.Nav:
    """Where on the page each section stands."""
    return html.Nav(
        html.Ul([html.Li(html.A(name, href=f"#{place}")) for place, name in sections], className="contents"),
        **{"aria-label": "On this page"},
    )

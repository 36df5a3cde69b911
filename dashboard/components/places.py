"""Fills a page's places: each is one callback from the view, and the theme where it draws, to what stands there."""

import re
from collections.abc import Callable
from typing import Any, Final

from dash import Dash, Input, Output
from flask import has_request_context, request

from dashboard.components import ids
from dashboard.components.faults import Callback, answering, answering_beside
from dashboard.components.page import Desk, Page
from dashboard.components.shown_rows import in_place
from dashboard.questions.memory.turns import Turns

TAB_HEADER: Final = "Fitledger-Tab"
_TOLD: Final = re.compile(r"(?P<tab>[0-9a-f]{32}) (?P<number>\d{1,15}) (?P<page>/\S*)")


def add_places(app: Dash, page: Page, desk: Desk) -> None:
    """Registers what fills the page's places."""
    turns: Turns = app.server.extensions.setdefault("fitledger-turns", Turns())
    for place, fill in filled(page, desk, turns).items():
        app.callback(Output(place, "children"), Input(ids.VIEW, "data"), Input(ids.THEME, "data"))(fill)


def filled(page: Page, desk: Desk, turns: Turns | None = None) -> dict[str, Callback]:
    """What fills each of the page's places, by its id, from the query of an address and the theme.

    Failures are told: in the head, which every view has, with a way out to the page of all fits, and not again elsewhere.
    """
    first, *others = (
        (place, _in_turn(turns, in_place(show, place, desk.addresses))) for place, show in page.shows(desk).items()
    )
    return {
        first[0]: answering(first[1], desk.addresses.page(page.path)),
        **{place: answering_beside(show, first[1]) for place, show in others},
    }


def _in_turn(turns: Turns | None, show: Callable[[str, str | None], Any]) -> Callable[[str, str | None], Any]:
    """Stops what is computed for a view that the same browser tab has left meanwhile.

    A tab tells its own random name, the number of the request and its page in one header (assets/fitledger.js); other
    programs tell none, and are never stopped.
    """

    def show_in_turn(search: str, theme: str | None) -> Any:
        tab_request = _TOLD.fullmatch(request.headers.get(TAB_HEADER, "")) if has_request_context() else None
        if not (tab_request and turns):
            return show(search, theme)
        with turns.taking(tab_request["tab"], int(tab_request["number"]), (tab_request["page"], search)):
            return show(search, theme)

    return show_in_turn

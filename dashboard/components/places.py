"""Fills a page's places: each is one callback from the view, and the theme where it draws, to what stands there."""

import re
from collections.abc import Callable
from typing import Any, Final

from dash import Dash, Input, Output
from flask import has_request_context, request

from dashboard.components import ids
from dashboard.components.address import View, read_view
from dashboard.components.faults import answering, answering_beside
from dashboard.components.page import Desk
from dashboard.questions.memory.turns import Turns

TAB_HEADER: Final = "Fitledger-Tab"
_TOLD: Final = re.compile(r"(?P<tab>[0-9a-f]{32}) (?P<number>\d{1,15}) (?P<page>/\S*)")


def fill(app: Dash, desk: Desk, place: str, path: str, show: Callable[[View, str | None], Any]) -> None:
    """The page's first place: `show` takes the view and the theme; its failures are told with a way out to `path`."""

    app.callback(Output(place, "children"), Input(ids.VIEW, "data"), Input(ids.THEME, "data"))(
        answering(_in_turn(app, show), desk.addresses.page(path))
    )


def fill_beside(app: Dash, place: str, show: Callable[[View, str | None], Any]) -> None:
    """A further place of the page: what the first place already tells is not told again."""

    app.callback(Output(place, "children"), Input(ids.VIEW, "data"), Input(ids.THEME, "data"))(
        answering_beside(_in_turn(app, show))
    )


def _in_turn(app: Dash, show: Callable[[View, str | None], Any]) -> Callable[[str, str | None], Any]:
    """Stops what is computed for a view that the same browser tab has left meanwhile.

    A tab tells its own random name, the number of the request and its page in one header (assets/fitledger.js); other
    programs tell none, and are never stopped.
    """
    turns: Turns = app.server.extensions.setdefault("fitledger-turns", Turns())

    def shown(search: str, theme: str | None) -> Any:
        told = _TOLD.fullmatch(request.headers.get(TAB_HEADER, "")) if has_request_context() else None
        if not told:
            return show(read_view(search), theme)
        with turns.taking(told["tab"], int(told["number"]), (told["page"], search)):
            return show(read_view(search), theme)

    return shown

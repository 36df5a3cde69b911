"""Finds a rider as a reader types, and opens the one that was picked on the page that asks."""

from collections.abc import Callable, Sequence
from typing import Any

from dash import Dash, Input, Output, no_update

from dashboard.components import html
from dashboard.components import ids as common
from dashboard.components.address import search_of
from dashboard.components.controls import Find
from dashboard.components.page import Desk
from dashboard.questions.riders.riders_found import MOST_FOUND, riders_found
from dashboard.questions.selection.selection import Selection
from shared.errors import FitledgerError


def search_box(box: str) -> html.Div:
    """Ids are matched on the server, a few at a time: there are thousands. `box`: the id of the field."""
    return html.Div(
        Find(box, "Find a rider", "a part of the id, such as R0012"), className="rider-search filter", role="search"
    )


def registering(box: str, path: str) -> Callable[[Dash, Desk], None]:
    """What registers the callbacks of a field whose riders open on the page of this relative path."""

    def register(app: Dash, desk: Desk) -> None:
        def find(text: str | None) -> dict[str, Any]:
            try:
                fitter = desk.asker.fitter
                riders = desk.asker.look_up(lambda warehouse: riders_found(warehouse, text or "", fitter)) if text else ()
            except FitledgerError:
                # The page tells why there is nothing to find.
                riders = ()
            return {"of": text or "", "matches": list(riders), "words": found_words(riders)}

        app.callback(Output(box, "found"), Input(box, "typed"))(find)
        app.callback(
            Output(common.URL, "pathname", allow_duplicate=True),
            Output(common.URL, "search", allow_duplicate=True),
            Output(box, "value"),
            Input(box, "value"),
            prevent_initial_call=True,
        )(choosing(desk.addresses.page(path)))

    return register


def found_words(riders: Sequence[str]) -> str:
    """How many riders are found, and what Enter does."""
    if not riders:
        return "No rider's id holds this."
    n = f"{len(riders)} or more riders" if len(riders) == MOST_FOUND else f"{len(riders)} riders" if riders[1:] else "One rider"
    return f"{n}. Enter opens {riders[0]}."


def choosing(path: str) -> Callable[[str | None], tuple[Any, Any, Any]]:
    """The address of all fits of the rider whom the reader picked, and an empty box."""

    def choose(rider: str | None) -> tuple[Any, Any, Any]:
        if not rider:
            return no_update, no_update, None
        return path, search_of(Selection(rider=(rider,)).query()), None

    return choose

"""The Riders page: asks `riders` and shows the list or one rider's timeline; finds riders as a reader types."""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from dash import Dash, Input, Output, no_update

from dashboard.components import ids as common
from dashboard.components.address import View, search_of
from dashboard.components.page import Desk, Page, PageView, Show
from dashboard.components.text import read_text
from dashboard.pages.riders import ids
from dashboard.pages.riders.layout import NAME, PATH, QUESTION, layout
from dashboard.pages.riders.listing import listed
from dashboard.pages.riders.timeline import told
from dashboard.questions.riders.answers_riders import Riders
from dashboard.questions.riders.riders_found import MOST_FOUND, riders_found
from dashboard.questions.selection.selection import Selection
from shared.errors import FitledgerError

TEXT = read_text(Path(__file__).with_name("text.md"))


def places(desk: Desk) -> dict[str, Show]:
    def show(view: View, theme: str | None) -> Any:
        answer: Any = desk.asker.ask("riders", view.selection)
        if isinstance(answer, Riders):
            return listed(desk, view.selection, answer, view.page_words, TEXT)
        return told(desk, view.selection, answer, view.page_words.get("fit"), TEXT, theme)

    return {ids.ANSWER: show}


def register(app: Dash, desk: Desk) -> None:
    def find(text: str | None) -> dict[str, Any]:
        try:
            fitter = desk.asker.fitter
            riders = desk.asker.look_up(lambda warehouse: riders_found(warehouse, text or "", fitter)) if text else ()
        except FitledgerError:
            # The page tells why there is nothing to find.
            riders = ()
        return {"of": text or "", "matches": list(riders), "words": found_words(riders)}

    app.callback(Output(ids.SEARCH, "found"), Input(ids.SEARCH, "typed"))(find)
    app.callback(
        Output(common.URL, "search", allow_duplicate=True),
        Output(ids.SEARCH, "value"),
        Input(ids.SEARCH, "value"),
        prevent_initial_call=True,
    )(choose)


def found_words(riders: Sequence[str]) -> str:
    """How many riders are found, and what Enter does."""
    if not riders:
        return "No rider's id holds this."
    n = f"{len(riders)} or more riders" if len(riders) == MOST_FOUND else f"{len(riders)} riders" if riders[1:] else "One rider"
    return f"{n}. Enter opens {riders[0]}."


def choose(rider: str | None) -> tuple[Any, Any]:
    """The address of all fits of the rider whom the reader picked, and an empty box."""
    if not rider:
        return no_update, no_update
    return search_of(Selection(rider=(rider,)).query()), None


def head(desk: Desk) -> Show:
    return places(desk)[ids.ANSWER]


def shows(desk: Desk) -> dict[str, Show]:
    return {place: show for place, show in places(desk).items() if place != ids.ANSWER}


PAGE = Page(PATH, NAME, QUESTION, head, (PageView("", "Answer", layout, shows, register=register),))

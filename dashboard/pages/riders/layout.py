"""The frame of the Riders page: the box that finds a rider, and the place of the answer."""

from typing import Any

from dashboard.components import html
from dashboard.components.controls import Find
from dashboard.pages.riders import ids

NAME = "Riders"
QUESTION = "What happened to this rider?"
PATH = "riders"


def layout() -> list[Any]:
    return [_search()]


def _search() -> html.Div:
    """Ids are matched on the server, a few at a time: there are thousands."""
    return html.Div(
        Find(ids.SEARCH, "Find a rider", "a part of the id, such as R0012"), className="rider-search filter", role="search"
    )

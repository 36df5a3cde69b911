"""The frame of the Riders page: the box that finds a rider, and the place of the answer."""

from dashboard.components import html
from dashboard.components.controls import Find
from dashboard.components.page import frame
from dashboard.pages.riders import ids

NAME = "Riders"
QUESTION = "What happened to this rider?"
PATH = "riders"


def layout() -> html.Div:
    page = frame(NAME, QUESTION, ids.ANSWER)
    page.children.insert(1, _search())
    return page


def _search() -> html.Div:
    """Ids are matched on the server, a few at a time: there are thousands."""
    return html.Div(
        Find(ids.SEARCH, "Find a rider", "a part of the id, such as R0012"), className="rider-search filter", role="search"
    )

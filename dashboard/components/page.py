"""What a page is: an answer and its views, each with an address; and what it is given."""

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from dash import Dash, dcc

from dashboard.components import html, ids
from dashboard.components.address import Addresses, View, read_view
from dashboard.components.notes import caution
from dashboard.questions.door.asked_by import AskedBy
from dashboard.questions.selection.selection import Selection
from shared.errors import UsageError


@dataclass(frozen=True)
class Desk:
    """What every page works with: the asker of one warehouse and the addresses of one served dashboard."""

    asker: AskedBy
    addresses: Addresses
    # Fitters are told by name where the reader may see names; a report that may be handed on leaves them out.
    with_names: bool = True
    # What follows a load from a page, as the letters that are due.
    after_load: Callable[[], None] = lambda: None

    @property
    def level(self) -> float:
        """How sure the intervals are, 0 to 1."""
        return self.asker.settings.intervals.level

    def csv(self, question: str, rows: str, selection: Selection, every: str = "") -> str:
        return self.addresses.table(question, rows, selection, every)


# From the view, and the theme where it draws, to what stands in a place.
Show = Callable[[View, str | None], Any]


def nothing_further(_: Desk) -> dict[str, Show]:
    """The places of a view that has none beside the head."""
    return {}


@dataclass(frozen=True)
class PageView:
    """One view of a page: the answer, whose path is empty, or a further one.

    `name`: the words of its tab. `layout`: what stands under the tabs, a place's id or a component each.
    `shows`: what stands in each of those places, by the place's id; a served page and the report ask the same functions.
    `register`: adds the callbacks that it has beside those of its places.
    `splits`: its figures follow the word `split`, whose control is shown on such views only.
    `scripted`: ids that the view's own script fills, beside those of its callbacks.
    """

    path: str
    name: str
    layout: Callable[[], list[Any]] = list
    shows: Callable[[Desk], dict[str, Show]] = nothing_further
    register: Callable[[Dash, Desk], None] | None = None
    splits: bool = False
    scripted: tuple[str, ...] = ()


@dataclass(frozen=True)
class Page:
    """A page: its path (empty for the first), name, question, and the answer with its further views, the answer first.

    `head`: what stands at the top of every view, the sentence that answers the question.
    `moved`: where older addresses lead on to, a view's path by an anchor ("#supports-grid") or a word of the page ("outcome").
    """

    path: str
    name: str
    question: str
    head: Callable[[Desk], Show]
    views: tuple[PageView, ...]
    moved: Mapping[str, str] = field(default_factory=dict)

    @property
    def head_id(self) -> str:
        """The id of the head's place."""
        return f"{self.path or 'studio'}-head"

    def path_of(self, view: PageView) -> str:
        """The relative path of one of the views."""
        return "/".join(part for part in (self.path, view.path) if part)

    def shows(self, desk: Desk) -> dict[str, Show]:
        """What stands in each place of the page: the head, then those of the views in their order."""
        return {self.head_id: self.head(desk), **{place: show for one in self.views for place, show in one.shows(desk).items()}}


def place(answer: str) -> html.Div:
    """An answer's place, by its id."""
    return html.Div(id=answer, className="answer")


def frame(page: Page, view: PageView, addresses: Addresses, search: str | None) -> html.Div:
    """The frame of a view, whatever is answered: name and question, the head, the tabs, the view's own places, the caution.

    `search`: the query of the address, which the tabs carry on.
    """
    moved = {anchor[1:]: addresses.page(path) for anchor, path in _moved_paths(page).items() if anchor[0] == "#"}
    title = page.name if not view.path else f"{view.name} · {page.name}"
    heading = html.H1(
        [html.Span(page.name, className="page-name"), html.Span(page.question, className="page-question")],
        id=ids.PAGE_TITLE,
        tabIndex=-1,
        **{"data-title": title, "data-home": addresses.page(page.path), "data-moved": json.dumps(moved)},
    )
    tabs = html.Nav(
        view_tabs(page, view, addresses, search), id=ids.TABS, className="view-tabs", **{"aria-label": f"Views of {page.name}"}
    )
    parts = [place(part) if isinstance(part, str) else part for part in view.layout()]
    return html.Div(
        [
            html.Div(
                [heading, place(page.head_id), tabs, *parts], className="view-screen" if view.path else "view-screen is-answer"
            ),
            caution(),
        ]
    )


def view_tabs(page: Page, view: PageView, addresses: Addresses, search: str | None) -> html.Ul | None:
    """A link to each view with the same selection and words of the page, this one marked; none where there is only one."""
    if not page.views[1:]:
        return None
    try:
        asked = read_view(search)
    except UsageError:
        query, words = "", {}
    else:
        query, words = asked.selection.query(), {word: value for word, value in asked.page_words.items() if word != "start"}
    # A word that leads on from the answer stays away from its tab, which would lead on too.
    kept = {word: value for word, value in words.items() if word not in page.moved}
    return html.Ul(
        [
            _tab(one.name, addresses.page(page.path_of(one), query, words if one.path else kept), is_here=one is view)
            for one in page.views
        ]
    )


def _tab(name: str, href: str, *, is_here: bool) -> html.Li:
    # The library's own link knows no mark of the current one, which needs no way to itself either.
    return html.Li(html.A(name, href=href, **{"aria-current": "page"}) if is_here else dcc.Link(name, href=href))


def moved_to(page: Page, words: Mapping[str, str]) -> str | None:
    """The relative path of the view to which an older address of the page leads on by one of its words."""
    return next((path for word, path in _moved_paths(page).items() if word[0] != "#" and word in words), None)


def _moved_paths(page: Page) -> dict[str, str]:
    by_path = {view.path: page.path_of(view) for view in page.views}
    return {old: by_path[path] for old, path in page.moved.items()}

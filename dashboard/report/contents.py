"""What the full report holds behind the short one: the views of the pages, in the order in which an owner reads, and how it was
computed."""

from collections.abc import Callable, Iterator
from typing import Any, Final

from dashboard.components import html
from dashboard.components.address import search_of
from dashboard.components.notes import CAUTION
from dashboard.components.page import Desk, Page, PageView
from dashboard.components.places import filled
from dashboard.pages.data.callbacks import PAGE as DATA
from dashboard.pages.fitters.callbacks import PAGE as FITTERS
from dashboard.questions.selection.selection import Selection
from dashboard.report.paper import of_class, on_paper, words_of
from dashboard.report.short import ANSWERED, Section, short_report

# Views of single riders, fits and rows, by their page: printed where riders are asked for.
OF_CASES: Final = {"returns": ("calls",), "fitters": ("worst-disagreements",), "data": ("left-out", "deserves-a-look")}
# Views where something is done, one that asks every question of the studio for a drawing that is walked through, and views that
# say nothing until groups are chosen.
OF_WORK: Final = {"data": ("load-files", "where-from")}
OF_GROUPS: Final = {"returns": ("by-group",)}
# What of the fitters every reader of a report is told: what was done, and not what came of it.
FOR_ALL: Final = frozenset({"process"})


def sections(
    desk: Desk, selection: Selection, *, with_fitters: bool, with_riders: bool = False, told: Callable[[str], None]
) -> Iterator[Section]:
    """The short report's sections, then every page's views; `told` is called with the name of what is asked next."""
    yield from short_report(desk, selection, with_fitters=with_fitters, told=told)
    search, methods = search_of(selection.query()), []
    for page in (*ANSWERED, FITTERS, DATA):
        told(page.name)
        fills = filled(page, desk)
        # The short report has told the heads of the others.
        nodes = [on_paper(fills[page.head_id](search, None), with_riders=with_riders)] if page is DATA else []
        for view in printed_views(page, selection, with_fitters=with_fitters, with_riders=with_riders):
            shown = [fills[place](search, None) for place in view.shows(desk)]
            methods += [(page.name, one) for one in of_class(shown, "method")]
            nodes += _view_nodes(page, view, shown, with_riders=with_riders)
        if nodes:
            yield Section(page.path or "studio", page.name, page.question, nodes)
    yield Section("methods", "Methods and cautions", "How far can this be trusted, and for what?", _methods(methods))


def printed_views(page: Page, selection: Selection, *, with_fitters: bool, with_riders: bool) -> list[PageView]:
    """The views of a page that a report prints."""
    if page is FITTERS and not with_fitters:
        return [view for view in page.views if view.path in FOR_ALL]
    left_out = {
        *OF_WORK.get(page.path, ()),
        *(() if with_riders else OF_CASES.get(page.path, ())),
        *(() if selection.split else OF_GROUPS.get(page.path, ())),
    }
    return [view for view in page.views if view.path not in left_out]


def _view_nodes(page: Page, view: PageView, shown: list[Any], *, with_riders: bool) -> list[Any]:
    """A view under its name. Of an answer whose picture the short report shows the numbers alone."""
    is_first, is_told = view is page.views[0], view is page.views[0] and page in ANSWERED
    nodes = on_paper(shown, with_riders=with_riders, drawn=not is_told)
    if not words_of(nodes).strip():
        return []
    if is_first and not is_told:
        return list(nodes)
    return [html.H2("Numbers of the answer" if is_told else view.name, className="view-title"), *nodes]


def _methods(methods: list[tuple[str, Any]]) -> list[Any]:
    """The cautions, then how each page's figures are computed, each passage once."""
    nodes: list[Any] = [html.P(words) for words in CAUTION]
    told: set[str] = set()
    for name, one in methods:
        _, *passages = one.children  # the first is what unfolds it
        fresh = [part for part in passages if words_of(part) not in told]
        told |= {words_of(part) for part in fresh}
        if fresh:
            nodes += [html.H2(name, className="section-title"), *on_paper(fresh, with_riders=True)]
    return nodes

"""The short report: what each page answers, as its screen does, on two sheets, and what is to be done now."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any, Final

from dashboard.components import html
from dashboard.components.address import search_of
from dashboard.components.page import Desk, Page
from dashboard.components.places import filled
from dashboard.pages.fitters.callbacks import PAGE as FITTERS
from dashboard.pages.returns.callbacks import PAGE as RETURNS
from dashboard.pages.studio.callbacks import PAGE as STUDIO
from dashboard.pages.supports.callbacks import PAGE as SUPPORTS
from dashboard.pages.symmetry.callbacks import PAGE as SYMMETRY
from dashboard.questions.selection.selection import Selection
from dashboard.report.paper import SMALL, classes, of_class, on_paper, words_of

ANSWERED: Final = (STUDIO, SUPPORTS, SYMMETRY, RETURNS)
# The anchor of the short report's last section.
TO_DO: Final = "to-do"
_STEPS: Final = "next-steps"


@dataclass(frozen=True)
class Section:
    """One section: its anchor and name, the question that it answers, and what stands in it."""

    anchor: str
    name: str
    question: str
    nodes: list[Any]


def short_report(desk: Desk, selection: Selection, *, with_fitters: bool, told: Callable[[str], None]) -> Iterator[Section]:
    """A section a page, then what is to be done; `told` is called with the name of what is asked next.

    Of the fitters the sentence alone is told, and where it is asked for.
    """
    search = search_of(selection.query())
    steps: list[str] = []
    for page in (*ANSWERED, *((FITTERS,) if with_fitters else ())):
        told(page.name)
        fills = filled(page, desk)
        places = [page.head_id, *(page.views[0].shows(desk) if page is not FITTERS else ())]
        shown = [fills[place](search, None) for place in places]
        if page is STUDIO:
            steps = counted_steps(shown)
        yield _section(page, _small(on_paper(shown, with_riders=False, folded=False)))
    yield Section(TO_DO, "To do", "What waits for whom?", [_to_do(steps)])


def _section(page: Page, nodes: list[Any]) -> Section:
    return Section(f"answer-{page.path or 'studio'}", page.name, page.question, nodes)


def _small(node: Any) -> Any:
    """The same with charts that stand beneath each other in pairs, a little smaller, so that an answer takes half a sheet."""
    if isinstance(node, list):
        parts = [_small(part) for part in node]
        charts = [part for part in parts if "chart" in classes(part)]
        if len(charts) < 2:
            return parts
        return [html.Div(charts, className=f"panels {SMALL}"), *(part for part in parts if "chart" not in classes(part))]
    if isinstance(children := getattr(node, "children", None), list):
        node.children = _small(children)
    return node


def counted_steps(shown: Any) -> list[str]:
    """What waits, of the next steps of a page: those that are counted. Others lead on to what a screen alone shows."""
    items = [item for steps in of_class(shown, _STEPS) for item in _items(steps)]
    return [words_of(item) for item in items if _is_counted(item)]


def _items(node: Any) -> list[Any]:
    if isinstance(node, list | tuple):
        return [item for part in node for item in _items(part)]
    if type(node).__name__ == "Li":
        return [node]
    return _items(getattr(node, "children", None)) if hasattr(node, "to_plotly_json") else []


def _is_counted(node: Any) -> bool:
    if isinstance(node, list | tuple):
        return any(map(_is_counted, node))
    if type(node).__name__ == "Strong":
        return words_of(node).strip() != "0"
    return hasattr(node, "to_plotly_json") and _is_counted(getattr(node, "children", None))


def _to_do(steps: list[str]) -> Any:
    if not steps:
        return html.P("Nothing waits.")
    return html.Ul([html.Li(words) for words in dict.fromkeys(steps)], className="sentences")

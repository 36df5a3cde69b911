"""Collects all that a studio is told: every page in every view, every question by every split, and the report.

Pages are asked as the report asks them, in this process and without a browser. A chart is drawn as far as its figure, whose
titles, words and marks are read.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any, Final

from dashboard.components.address import Addresses
from dashboard.components.page import Desk, Page
from dashboard.pages import PAGES
from dashboard.questions.answers import Answer
from dashboard.questions.asked_by import AskedBy
from dashboard.questions.asking import QUESTIONS, Asker
from dashboard.questions.readers import LOCAL
from dashboard.questions.selection import SPLITS, Selection
from dashboard.report.contents import sections
from dashboard.report.pages_shown import _Listener
from shared.errors import StatisticsError
from shared.settings import Settings

# Three days after the last day on which a studio is simulated.
TODAY: Final = date(2026, 8, 31)
_QUARTER: Final = Selection(date_from=date(2026, 4, 1), date_to=date(2026, 6, 30))
# The views of each page beside its first one, as queries of its address.
_VIEWS: Final = {
    "": ("?every=week", "?every=quarter"),
    "supports": ("?outcome=sway", "?outcome=offset"),
    "symmetry": ("?outcome=offset",),
    "fitters": ("?outcome=return_rate", "?outcome=nearer_neutral", "?outcome=comfort_gained"),
}
# Places that are not asked: they answer to what a reader hands in or has looked at before.
_NOT_ASKED: Final = ("data-upload", "data-findings", "data-taken", "studio-since")
# Elements that hold a piece of text each; what stands within one is read with it.
_PIECES: Final = frozenset({"P", "Li", "Td", "Th", "H1", "H2", "H3", "H4", "Caption", "Summary", "Dt", "Dd", "Legend"})
# What repeats the title of a chart or a table on a button or a link.
_LEFT_OUT: Final = frozenset({"chart-tools", "csv-line"})
# Marks of a chart that say more than a dot: their symbols, and what they claim.
_MARKS: Final = {"diamond": "mark", "square": "mark", "triangle-up": "mark"}
_CHARTS_WITH_MARKS: Final = frozenset({"knees_better", "side_difference_left", "return_rate", "comfort_gained", "funnel"})


@dataclass(frozen=True)
class Said:
    """One piece of text and where it stands; `kind`: text, bold (a table's cell in bold) or mark (of a chart).

    is_answer: a headline, which answers a page's or a question's own question.
    """

    place: str
    kind: str
    text: str
    is_answer: bool = False


def collected(path: Path, settings: Settings | None = None) -> list[Said]:
    """All that is said of one warehouse, each piece once a place."""
    asker = Asker(path, settings or Settings(), lambda: TODAY)
    desk = Desk(AskedBy(asker, lambda: LOCAL), Addresses("/"))
    found = [*_questions(asker), *(said for page in PAGES for said in _page(page, desk)), *_report(desk)]
    return list(dict.fromkeys(found))


def _page(page: Page, desk: Desk) -> Iterator[Said]:
    listener = _Listener()
    page.register(listener, desk)  # type: ignore[arg-type]  # the listener stands in the place of the app
    places = {name: show for name, show in listener.places.items() if name not in _NOT_ASKED}
    splits = [f"?split={split}" for split in SPLITS] if page.splits else []
    name = page.name.lower()
    for search in ("", *_VIEWS.get(page.path, ()), *splits):
        for place, show in places.items():
            yield from _pieces(show(search, "light"), f"page {name}", is_first=not search)
            del place


def _questions(asker: Asker) -> Iterator[Said]:
    for question in QUESTIONS:
        for split in (None, *SPLITS):
            selection = _QUARTER if question == "periods" else Selection(split=split)
            yield from _asked(asker, question, selection, is_first=split is None)
    for every in ("week", "quarter"):
        yield from _asked(asker, "trends", Selection(), is_first=False, every=(every,))


def _asked(asker: Asker, question: str, selection: Selection, *, is_first: bool, **only: tuple[str, ...]) -> Iterator[Said]:
    try:
        answer = asker.ask(question, selection, **only)
    except StatisticsError as refusal:
        yield Said(f"show {question}", "text", plain(str(refusal)))
        return
    yield from _of_answer(answer, f"show {question}", is_first=is_first)


def _of_answer(answer: Answer, place: str, *, is_first: bool) -> Iterator[Said]:
    headline = getattr(answer, "headline", "")
    words = getattr(answer, "selection_words", "")
    if headline:
        yield Said(place, "text", plain(headline.removeprefix(f"In {words}: ")), is_answer=is_first)
    for name in answer.lists():
        if name in ("look_at", "overdue", "rejects", "rows"):
            continue
        for row in getattr(answer, name):
            if text := getattr(row, "words", ""):
                yield Said(place, "text", plain(text))


def _report(desk: Desk) -> Iterator[Said]:
    for selection in (Selection(), _QUARTER):
        for section in sections(desk, selection, with_fitters=True, told=lambda _: None):
            if selection == _QUARTER and section.anchor != "in-short":
                continue
            yield from _pieces(section.nodes, "report", is_first=selection == Selection())


def _pieces(node: Any, place: str, *, is_first: bool, chart: str = "") -> Iterator[Said]:
    """The pieces of text of a tree of components, its cells in bold and its charts' marks, in order."""
    if isinstance(node, list | tuple):
        for part in node:
            yield from _pieces(part, place, is_first=is_first, chart=chart)
        return
    if isinstance(node, str):
        if node.strip():
            yield Said(place, "text", plain(node))
        return
    if not hasattr(node, "to_plotly_json"):
        return
    kind, held = type(node).__name__, vars(node)
    classes = str(held.get("className") or "").split()
    if _LEFT_OUT.intersection(classes):
        return
    if label := held.get("aria-label"):
        yield Said(place, "text", plain(label))
    if kind == "Graph":
        yield from _marks(node.figure, place, chart)
        return
    children = held.get("children")
    if kind not in _PIECES:
        yield from _pieces(children, place, is_first=is_first, chart=held.get("data-chart", chart))
        return
    if text := plain(flat(children)):
        yield Said(place, "text", text, is_answer=is_first and "headline" in classes)
    if kind == "Td":
        yield from (Said(place, "bold", text) for _ in _bolds(children))


def _bolds(node: Any) -> Iterator[Any]:
    for part in node if isinstance(node, list | tuple) else (node,):
        if type(part).__name__ in ("Strong", "B"):
            yield part
        elif hasattr(part, "to_plotly_json"):
            yield from _bolds(getattr(part, "children", None))


def _marks(figure: dict[str, Any], place: str, chart: str) -> Iterator[Said]:
    if chart not in _CHARTS_WITH_MARKS:
        return
    for trace in figure["data"]:
        symbol = (trace.get("marker") or {}).get("symbol")
        if isinstance(symbol, str) and symbol in _MARKS and len(trace.get("x", ())):
            yield Said(place, "mark", f"{chart}: {symbol}")


def flat(node: Any) -> str:
    """The text of a tree; what stands in a line or an element of its own is parted by a blank."""
    if isinstance(node, list | tuple):
        return "".join(flat(part) for part in node)
    if node is None or isinstance(node, bool):
        return ""
    if not hasattr(node, "to_plotly_json"):
        return str(node)
    apart = " " if type(node).__name__ in ("Br", "Small", "Span", "Li", "P", "Ul") else ""
    return f"{apart}{flat(getattr(node, 'children', None))}{apart}"


_BLANKS: Final = re.compile(r"[\s\u00a0\u202f]+")


def plain(text: str) -> str:
    """Text with ordinary blanks and minus signs."""
    return _BLANKS.sub(" ", text).replace("−", "-").strip()

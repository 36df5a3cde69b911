"""Collects all that a studio is told: every page in every view, every question by every split, and the report.

Pages are asked as the report asks them, in this process and without a browser. A chart is drawn as far as its figure, whose
title, words and marks are read.
"""

from collections.abc import Iterator, Sequence
from datetime import date
from pathlib import Path
from typing import Final

from dashboard.components.address import Addresses
from dashboard.components.page import Desk, Page
from dashboard.components.places import filled
from dashboard.figures.funnel import OUTCOMES
from dashboard.pages import PAGES
from dashboard.questions.door.asked_by import AskedBy
from dashboard.questions.door.asking import QUESTIONS, Asker
from dashboard.questions.door.readers import LOCAL
from dashboard.questions.selection.answers import Answer
from dashboard.questions.selection.selection import SPLITS, Selection
from dashboard.report.contents import sections
from shared.errors import StatisticsError
from shared.settings import Settings
from tests.nothing.pieces import Said, pieces, plain

# Three days after the last day on which a studio is simulated.
TODAY: Final = date(2026, 8, 31)
_QUARTER: Final = Selection(date_from=date(2026, 4, 1), date_to=date(2026, 6, 30))
# What each page can be asked beside all fits, as queries of its addresses.
_QUERIES: Final = {
    "": ("?every=week", "?every=quarter"),
    "supports": ("?outcome=sway", "?outcome=offset"),
    "symmetry": ("?outcome=offset",),
    "fitters": tuple(f"?outcome={outcome}" for outcome in OUTCOMES),
}
# Places that are not asked: they answer to what a reader hands in.
_NOT_ASKED: Final = ("data-upload", "data-findings", "data-taken")
# Lists of single cases: what is told there is told of one rider or one row.
_CASES: Final = ("look_at", "worst", "calls", "booked", "rejects", "riders", "rows")
_FAULT: Final = "something in the program failed"


def collected(path: Path, splits: Sequence[str] = SPLITS) -> list[Said]:
    """All that is said of one warehouse, each piece once a place, by these splits. AssertionError where a place fails."""
    asker = Asker(path, Settings(), lambda: TODAY)
    desk = Desk(AskedBy(asker, lambda: LOCAL), Addresses("/"))
    found = [*_questions(asker, splits), *(said for page in PAGES for said in _page(page, desk, splits)), *_report(desk)]
    failed = [said.place for said in found if _FAULT in said.text]
    assert not failed, failed
    return list(dict.fromkeys(found))


def _page(page: Page, desk: Desk, splits: Sequence[str]) -> Iterator[Said]:
    fills = {name: fill for name, fill in filled(page, desk).items() if name not in _NOT_ASKED}
    for view in page.views:
        places = [page.head_id, *(name for name in view.shows(desk) if name in fills)]
        queries = [*_QUERIES.get(page.path, ()), *(f"?split={split}" for split in splits if view.splits)]
        for search in ("", *queries):
            for name in places:
                is_answer = not (search or view.path)
                yield from pieces(fills[name](search, "light"), f"page {page.name.lower()}", is_first=is_answer)


def _questions(asker: Asker, splits: Sequence[str]) -> Iterator[Said]:
    for question in QUESTIONS:
        for split in (None, *splits):
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
    headline = getattr(answer, "headline", "").removeprefix(f"In {answer.selection_words}: ")
    yield Said(place, "text", plain(headline), is_answer=is_first)
    for name in answer.lists():
        for row in getattr(answer, name) if name not in _CASES else ():
            if text := getattr(row, "words", ""):
                yield Said(place, "text", plain(text))


def _report(desk: Desk) -> Iterator[Said]:
    for section in sections(desk, Selection(), with_fitters=True, told=lambda _: None):
        yield from pieces(section.nodes, "report", is_first=True)
    in_short = next(iter(sections(desk, _QUARTER, with_fitters=True, told=lambda _: None)))
    yield from pieces(in_short.nodes, "report", is_first=False)

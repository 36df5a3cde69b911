"""The meeting sheet: one A4 whatever is on it, with the studio's own figures, and ids for those alone who may see them."""

import re
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import date
from typing import Any

import pypdfium2
import pytest

from dashboard.components.address import Addresses
from dashboard.components.page import Desk
from dashboard.figures.theme import interval, number
from dashboard.questions.door.asked_by import AskedBy
from dashboard.questions.door.asking import Asker
from dashboard.questions.door.readers import LOCAL, Reader, Role
from dashboard.questions.selection.selection import Selection
from dashboard.report.meeting import NOT_RECORDED
from dashboard.report.write import made_meeting
from shared.errors import TooFewError
from shared.logbook.entries import Entries
from shared.logbook.store import Logbook
from shared.settings import Goals, Settings

pytestmark = pytest.mark.browser

IDS = re.compile(r"\b[SR]\d{4,5}\b|\bF\d\b")
LONG = "Look at the stance of every second fit again, together, and write down what was found and why it was changed " * 3


def text_of(pdf: bytes) -> tuple[int, str]:
    """How many sheets, and the words on them."""
    document = pypdfium2.PdfDocument(pdf)
    words = " ".join(page.get_textpage().get_text_range() for page in document)
    n_pages = len(document)
    document.close()
    return n_pages, re.sub(r"\s+", " ", words)


@pytest.fixture
def made(asker: Asker) -> Callable[..., Any]:
    def make(selection: Selection = Selection(), *, by: Asker = asker, form: Any = "pdf", with_ids: bool = False) -> Any:  # noqa: B008
        desk = Desk(AskedBy(by, lambda: LOCAL), Addresses("/"))
        with ThreadPoolExecutor(1) as pool:  # Playwright runs once in each thread
            content: bytes = pool.submit(made_meeting, desk, selection, form, with_ids=with_ids).result()
        return text_of(content) if form == "pdf" else content.decode()

    return make


@pytest.mark.parametrize(
    "selection",
    [Selection(), Selection(date_from=date(2025, 5, 1), date_to=date(2025, 7, 31)), Selection(studio=("ropewalk",))],
    ids=["month", "quarter", "studio"],
)
def test_it_takes_one_sheet_and_says_what_studio_says(asker: Asker, made: Callable[..., Any], selection: Selection) -> None:
    n_pages, words = made(selection)
    answer: Any = asker.ask("periods", selection)
    assert n_pages == 1
    assert answer.headline.replace("\xa0", " ")[:60] in words
    for row in (row for row in answer.periods if row.which == "this" and row.estimate is not None):
        told = f"{number(row.estimate, row.unit)} ({interval(row.low, row.high, row.unit)})".replace("\u202f", " ")
        assert told in words.replace("\u202f", " ")
    assert words.count("not set") == 4 and NOT_RECORDED in words
    assert not IDS.search(words) and "It names no rider and no fitter." in words


def test_with_ids_the_three_furthest_from_the_exam_are_named(asker: Asker, made: Callable[..., Any]) -> None:
    answer: Any = asker.ask("agreement", Selection(date_from=date(2026, 7, 1), date_to=date(2026, 7, 31)))
    n_pages, words = made(with_ids=True)
    assert n_pages == 1 and IDS.findall(words)[::2] == [row.session_id for row in answer.worst[:3]]
    assert "keep it like the warehouse" in words


def test_a_goal_stands_beside_its_figure(asker: Asker, made: Callable[..., Any]) -> None:
    by = Asker(asker.path, Settings(goals=Goals(return_rate=0.6)), lambda: date(2026, 8, 31))
    words = made(by=by)[1].replace("\u202f", " ")
    assert "no clear change 60 %" in words and words.count("not set") == 3


def test_many_tasks_of_many_words_stay_on_the_sheet(asker: Asker, made: Callable[..., Any]) -> None:
    book = Entries(asker.path)
    try:
        for n in range(12):
            task = book.add(
                "task", "figure", "return_rate", by="olga", text=LONG[:450], who="finn", day=date(2026, 8, 20 + n % 9)
            )
            if n > 5:
                book.say(task.entry_id, "done", by="finn", text=LONG[:450])
        fit = book.add("task", "fit", "S01335", by="olga", text="Ask R0007 again", day=date(2026, 8, 1))
        n_pages, words = made()
        assert n_pages == 1
        assert "Open: 7" in words and "Closed since: 6" in words and "And 4 more." in words and "And 3 more." in words
        assert "On a fit. Nobody yet, until 1 Aug 2026 (over)." in words and not IDS.search(words)
        n_pages, words = made(with_ids=True)
        assert n_pages == 1 and "Ask R0007 again." in words
        html = made(form="html")
        assert "<script" not in html and f"{LONG[:60]}" in html
        book.say(fit.entry_id, "dropped", by="olga")
    finally:
        Logbook(asker.path).file.unlink()


def test_where_no_fit_is_nothing_is_made(made: Callable[..., Any]) -> None:
    with pytest.raises(TooFewError):
        made(Selection(date_from=date(2030, 1, 1), date_to=date(2030, 1, 31)))


def test_who_does_not_see_the_studio_gets_no_sheet(asker: Asker) -> None:
    from dashboard.report.served import _made
    from shared.errors import NotPermittedError

    for role in (Role.FITTER, Role.DESK):
        reader = Reader("x", role, "F1" if role is Role.FITTER else None)
        with pytest.raises(NotPermittedError):
            _made(Desk(AskedBy(asker, lambda reader=reader: reader), Addresses("/")), "meeting", "pdf", {})  # type: ignore[misc]

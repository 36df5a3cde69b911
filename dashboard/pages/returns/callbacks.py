"""The Returns page: asks `returns` by the chosen group, and beside it `ratings` for how the fit felt at the follow-up."""

from dataclasses import replace
from pathlib import Path
from typing import Any, cast

from dashboard.components.address import View
from dashboard.components.page import Desk, Page, PageView, Show
from dashboard.components.text import read_text
from dashboard.pages.returns import ids
from dashboard.pages.returns.layout import NAME, PATH, QUESTION, Asked, answered, layout
from dashboard.questions.returns.answers_returns import Returns
from dashboard.questions.studio.answers_ratings import Ratings

TEXT = read_text(Path(__file__).with_name("text.md"))


def places(desk: Desk) -> dict[str, Show]:
    def show(view: View, theme: str | None) -> Any:
        answer = cast(Returns, desk.asker.ask("returns", view.selection))
        ratings = cast(Ratings, desk.asker.ask("ratings", replace(view.selection, split=None)))
        return answered(Asked(desk, view.selection, TEXT, theme), answer, ratings)

    return {ids.ANSWER: show}


def head(desk: Desk) -> Show:
    return places(desk)[ids.ANSWER]


def shows(desk: Desk) -> dict[str, Show]:
    return {place: show for place, show in places(desk).items() if place != ids.ANSWER}


PAGE = Page(PATH, NAME, QUESTION, head, (PageView("", "Answer", layout, shows, splits=True),))

"""The Data page: asks `data` and shows the answer."""

from pathlib import Path
from typing import Any, cast

from dash import Dash

from dashboard.components.address import View
from dashboard.components.page import Desk, Page
from dashboard.components.places import fill
from dashboard.components.text import read_text
from dashboard.pages.data import ids
from dashboard.pages.data.layout import NAME, PATH, QUESTION, answered, layout
from dashboard.questions.answers import Data

TEXT = read_text(Path(__file__).with_name("text.md"))


def register(app: Dash, desk: Desk) -> None:
    def show(view: View, theme: str | None) -> Any:
        answer = cast(Data, desk.asker.ask("data", view.selection))
        return answered(desk, view.selection, answer, view.page_words, TEXT, theme)

    fill(app, desk, ids.ANSWER, PATH, show)


PAGE = Page(PATH, NAME, QUESTION, layout, register)

"""The Studio page: asks `studio` and shows the answer."""

from pathlib import Path
from typing import Any, cast

from dash import Dash

from dashboard.components.address import View
from dashboard.components.page import Desk, Page
from dashboard.components.places import fill
from dashboard.components.text import read_text
from dashboard.pages.studio import ids
from dashboard.pages.studio.layout import NAME, QUESTION, answered, layout
from dashboard.questions.answers import Studio

TEXT = read_text(Path(__file__).with_name("text.md"))


def register(app: Dash, desk: Desk) -> None:
    def show(view: View, theme: str | None) -> Any:
        return answered(desk, view.selection, cast(Studio, desk.asker.ask("studio", view.selection)), TEXT, theme)

    fill(app, desk, ids.ANSWER, "", show)


PAGE = Page("", NAME, QUESTION, layout, register)

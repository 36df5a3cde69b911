"""The Studio page: asks `studio` and shows the answer."""

from pathlib import Path
from typing import Any, cast

from dash import Dash, Input, Output

from dashboard.components import ids as common
from dashboard.components.address import read_view
from dashboard.components.faults import answering
from dashboard.components.page import Desk, Page
from dashboard.components.text import read_text
from dashboard.pages.studio import ids
from dashboard.pages.studio.layout import NAME, QUESTION, answered, layout
from dashboard.questions.answers import Studio

TEXT = read_text(Path(__file__).with_name("text.md"))


def register(app: Dash, desk: Desk) -> None:
    def show(search: str, theme: str | None) -> Any:
        selection = read_view(search).selection
        return answered(desk, selection, cast(Studio, desk.asker.ask("studio", selection)), TEXT, theme)

    way_out = desk.addresses.page("")
    app.callback(Output(ids.ANSWER, "children"), Input(common.VIEW, "data"), Input(common.THEME, "data"))(
        answering(show, way_out)
    )


PAGE = Page("", NAME, QUESTION, layout, register)

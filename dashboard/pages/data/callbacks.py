"""The Data page: asks `data` and shows the answer."""

from pathlib import Path
from typing import Any, cast

from dash import Dash, Input, Output

from dashboard.components import ids as common
from dashboard.components.address import read_view
from dashboard.components.faults import answering
from dashboard.components.page import Desk, Page
from dashboard.components.text import read_text
from dashboard.pages.data import ids
from dashboard.pages.data.layout import NAME, PATH, QUESTION, answered, layout
from dashboard.questions.answers import Data

TEXT = read_text(Path(__file__).with_name("text.md"))


def register(app: Dash, desk: Desk) -> None:
    def show(search: str, theme: str | None) -> Any:
        view = read_view(search)
        answer = cast(Data, desk.asker.ask("data", view.selection))
        return answered(desk, view.selection, answer, view.page_words, TEXT, theme)

    way_out = desk.addresses.page(PATH)
    app.callback(Output(ids.ANSWER, "children"), Input(common.VIEW, "data"), Input(common.THEME, "data"))(
        answering(show, way_out)
    )


PAGE = Page(PATH, NAME, QUESTION, layout, register)

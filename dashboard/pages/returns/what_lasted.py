"""What lasted: knees as the follow-up found them, and how much of the setup was still in use."""

from typing import Any

from dashboard.components import html
from dashboard.components.address import View
from dashboard.components.chart import chart, reading
from dashboard.components.notes import data_note, method
from dashboard.components.page import Desk, Show
from dashboard.components.table import table
from dashboard.figures import returns
from dashboard.pages.returns import ids, tables
from dashboard.pages.returns.asked import Asked


def layout() -> list[Any]:
    return [ids.LASTED]


def shows(desk: Desk) -> dict[str, Show]:
    def show(view: View, theme: str | None) -> Any:
        asked = Asked.of(desk, view, theme)
        answer = asked.returns()
        level = asked.level
        return [
            _panel(
                chart(
                    returns.lasting_figure(answer.lasting, asked.theme),
                    title=returns.lasting_finding(answer.lasting),
                    alternative=returns.lasting_alternative(answer.lasting),
                    name="lasting",
                    level=2,
                    table=table(
                        "Knees found again",
                        tables.lasting_columns(level),
                        answer.lasting,
                        row_key="outcome",
                        table_id=ids.LASTING,
                    ),
                ),
                *asked.words("lasting", level=level),
            ),
            _panel(
                chart(
                    returns.kept_figure(answer.figures, asked.theme),
                    title=returns.kept_finding(answer.figures),
                    alternative=returns.kept_alternative(answer.figures),
                    name="kept",
                    level=2,
                    table=table("Setup kept", tables.kept_columns(level), returns.kept_of(answer.figures), table_id=ids.KEPT),
                ),
                *asked.words("kept", level=level),
            ),
            method(answer, asked.words("method", **asked.days)),
            data_note(answer),
        ]

    return {ids.LASTED: show}


def _panel(drawn: html.Figure, *words: Any) -> html.Div:
    return html.Div([drawn, reading(*words)], className="with-words")

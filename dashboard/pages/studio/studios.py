"""Studio beside studio: the four figures of each, and the intervals of the differences."""

from typing import Any, cast

from dashboard.components import html
from dashboard.components.address import View
from dashboard.components.chart import chart, reading
from dashboard.components.page import Desk, PageView, Show
from dashboard.components.table import table
from dashboard.components.text import paragraphs, unbroken
from dashboard.figures.better import alternative, studios_figure
from dashboard.figures.theme import number
from dashboard.pages.studio import ids
from dashboard.pages.studio.chosen import dated
from dashboard.pages.studio.tables import between_columns, one_studio_columns
from dashboard.pages.studio.words import TEXT
from dashboard.questions.studio.answers_studios import Studios


def layout() -> list[Any]:
    return [ids.STUDIOS]


def shows(desk: Desk) -> dict[str, Show]:
    def show(view: View, theme: str | None) -> Any:
        return _told(desk, cast(Studios, desk.asker.ask("studios", dated(desk, view)[0])), theme)

    return {ids.STUDIOS: show}


def _told(desk: Desk, answer: Studios, theme: str | None) -> list[Any]:
    if not answer.differences:
        return [html.P(answer.headline)]
    level = number(desk.level, "share")
    return [
        chart(
            studios_figure(answer, theme),
            title=unbroken(answer.headline).rstrip("."),
            alternative=alternative(answer.differences),
            name="studios",
            level=2,
            table=table("The differences between the studios", between_columns(level), answer.differences),
        ),
        reading(*paragraphs(TEXT["studios"], level=level)),
        table("Each studio's figures", one_studio_columns(level), answer.figures, table_id="each-studio"),
    ]


VIEW = PageView("studios", "Studio beside studio", layout, shows)

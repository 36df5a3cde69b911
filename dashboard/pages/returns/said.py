"""What riders said at the follow-up, and how that differs from what they said as they left."""

from typing import Any, cast

from dashboard.components import html
from dashboard.components.address import View
from dashboard.components.chart import chart, reading
from dashboard.components.notes import data_note
from dashboard.components.page import Desk, Show
from dashboard.components.table import table
from dashboard.components.text import unbroken
from dashboard.figures import returns
from dashboard.figures.names import plain
from dashboard.pages.returns import ids, tables
from dashboard.pages.returns.asked import Asked
from dashboard.questions.studio.answers_ratings import RatingRow, Ratings


def layout() -> list[Any]:
    return [ids.SAID]


def shows(desk: Desk) -> dict[str, Show]:
    def show(view: View, theme: str | None) -> Any:
        asked = Asked.of(desk, view, theme)
        answer = asked.returns()
        drawn = chart(
            returns.said_figure(answer.said, asked.theme),
            title=returns.said_finding(answer.said),
            alternative=returns.said_alternative(answer.said),
            name="said",
            level=2,
            table=table("What riders said", tables.SAID, answer.said, row_key="topic", table_id=ids.POINTS),
        )
        told = html.Div([drawn, reading(*asked.words("said"))], className="with-words")
        return [told, *_felt(asked), data_note(answer)]

    return {ids.SAID: show}


def _felt(asked: Asked) -> list[Any]:
    """The same riders as they left and at the follow-up."""
    answer = cast(Ratings, asked.desk.asker.ask("ratings", asked.selection))
    rows = [row for row in answer.ratings if (row.from_moment, row.to_moment, row.level) == ("departure", "follow_up", None)]
    return [
        html.H2("Does it still feel right?", className="section-title"),
        html.P([unbroken(_rating_words(row)) for row in rows[:1]], className="second-sentence"),
        table(
            "Ratings at departure and at the follow-up, 0 to 10",
            tables.rating_columns(asked.level),
            rows,
            row_key="topic",
            table_id="returns-felt",
        ),
        reading(*asked.words("felt"), *(html.P(caution) for caution in answer.cautions)),
    ]


def _rating_words(row: RatingRow) -> str:
    words = row.words
    return words if row.median_from is not None else f"{plain(row.topic).capitalize()}: {words.partition(': ')[2]}"

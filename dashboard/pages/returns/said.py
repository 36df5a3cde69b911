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
from dashboard.questions.followed.answers_important import ImportantChange
from dashboard.questions.returns.answers_returns import Returns, WorthRow
from dashboard.questions.selection.selection import Selection
from dashboard.questions.studio.answers_ratings import RatingRow, Ratings
from shared.errors import NotRecordedError


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
        return [told, *_worth(asked, answer), *_felt(asked), data_note(answer)]

    return {ids.SAID: show}


def _worth(asked: Asked, answer: Returns) -> list[Any]:
    """From how many points on a change matters to riders, and how many fits came that far; nothing where nobody was asked."""
    try:
        limits = cast(ImportantChange, asked.desk.asker.ask("important_change", Selection()))
    except NotRecordedError:
        return []
    rows = [row for row in answer.worth if row.n]
    return [
        html.H2("Was it worth it?", className="section-title"),
        *(html.P(unbroken(row.words), className="second-sentence") for row in limits.changes),
        *((_verdicts(asked, rows),) if rows else ()),
        reading(*asked.words("worth"), *(html.P(caution) for caution in limits.cautions)),
    ]


def _verdicts(asked: Asked, rows: list[WorthRow]) -> html.Div:
    return table("Comfort and pain at the follow-up", tables.worth_columns(asked.level), rows, table_id=ids.WORTH)


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

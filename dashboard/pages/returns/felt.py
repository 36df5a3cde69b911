"""How the fit felt at the follow-up against how it felt when the rider left."""

from typing import Any

from dashboard.components import html
from dashboard.components.chart import reading
from dashboard.components.page import Desk
from dashboard.components.table import table
from dashboard.components.text import paragraphs, unbroken
from dashboard.figures.names import plain
from dashboard.figures.theme import number
from dashboard.pages.returns.tables import rating_columns
from dashboard.questions.selection.selection import Selection
from dashboard.questions.studio.answers_ratings import RatingRow, Ratings


def felt(desk: Desk, selection: Selection, answer: Ratings, text: dict[str, tuple[str, ...]]) -> list[Any]:
    """Shows a heading, the table, how it is read, and the answer's cautions."""
    rows = [row for row in answer.ratings if (row.from_moment, row.to_moment, row.level) == ("departure", "follow_up", None)]
    return [
        html.H2("Does it still feel right?", className="section-title"),
        html.P([unbroken(_rating_words(row)) for row in rows[:1]], className="second-sentence"),
        table(
            "Ratings at departure and at the follow-up, 0 to 10",
            rating_columns(number(desk.level, "share")),
            rows,
            row_key="topic",
            csv=desk.csv("ratings", "ratings", selection),
        ),
        reading(*paragraphs(text["felt"]), *(html.P(caution) for caution in answer.cautions)),
    ]


def _rating_words(row: RatingRow) -> str:
    words = row.words
    return words if row.median_from is not None else f"{plain(row.topic).capitalize()}: {words.partition(': ')[2]}"

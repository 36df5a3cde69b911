"""What the warehouse holds, whether the selected fits are complete, and how far one capture can be trusted."""

from typing import Any

from dashboard.components import html
from dashboard.components.chart import reading
from dashboard.components.notes import data_note, method
from dashboard.components.page import Desk
from dashboard.components.table import table
from dashboard.components.text import paragraphs
from dashboard.figures.theme import number
from dashboard.pages.data.layout import Passages
from dashboard.pages.data.sections import SELECTED, WHOLE, titled
from dashboard.pages.data.tables import EXAMS, QUALITY_KEY, TABLES, noise_columns, quality_columns
from dashboard.questions.data.answers_data import Data
from dashboard.questions.data.answers_noise import Noise
from dashboard.questions.selection.selection import Selection


def held(desk: Desk, selection: Selection, answer: Data, text: Passages) -> list[Any]:
    """The rows of each table, and how they are counted."""
    return [
        html.P(WHOLE, className="concerns"),
        table("Rows by table", TABLES, answer.tables, row_key="table"),
        *_not_recorded(answer),
        method(answer, paragraphs(text["method"])),
        data_note(answer),
    ]


def _not_recorded(answer: Data) -> list[Any]:
    """What a studio does not record, and what is not told without it."""
    if not answer.absent:
        return []
    title = html.H2("Not recorded here", className="section-title")
    return [title, html.Ul([html.Li(row.words) for row in answer.absent], className="sentences")]


def completeness(desk: Desk, selection: Selection, answer: Data, text: Passages) -> list[Any]:
    """How complete the selected fits are, and what their exams leave empty."""
    level = number(desk.level, "share")
    return [
        *titled("Is it complete?", SELECTED),
        table(
            "Completeness, with intervals",
            quality_columns(level),
            answer.quality,
            row_key=QUALITY_KEY,
        ),
        html.Details(
            [
                html.Summary("Which parts of the exam are missing"),
                table("Empty parts of the exam", EXAMS, answer.exams),
                reading(*paragraphs(text["exams"])),
            ],
            className="more",
        )
        if answer.exams
        else None,
    ]


def noise(desk: Desk, selection: Selection, answer: Noise | str, text: Passages) -> list[Any]:
    """The typical error of each outcome; `answer` is a sentence where there is none."""
    title = titled("How far can one capture be trusted?", SELECTED)
    if isinstance(answer, str):
        return [*title, html.P(answer)]
    return [
        *title,
        table(
            "Typical error and smallest real change",
            noise_columns(number(desk.level, "share")),
            answer.noise,
            row_key="outcome",
        ),
        reading(*paragraphs(text["noise"])),
    ]

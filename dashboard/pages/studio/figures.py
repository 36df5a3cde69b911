"""The four figures of the chosen dates as a table, what each means, and how all of it is computed."""

from typing import Any

from dashboard.components import html
from dashboard.components.address import View
from dashboard.components.notes import data_note, method
from dashboard.components.page import Desk, PageView, Show
from dashboard.components.table import csv_link, table
from dashboard.components.text import paragraphs
from dashboard.figures.theme import number
from dashboard.pages.studio import ids
from dashboard.pages.studio.chosen import dated, periods_of
from dashboard.pages.studio.tables import knees_columns, level_columns
from dashboard.pages.studio.words import TEXT
from dashboard.questions.selection.numbers import spoken
from dashboard.questions.studio.headline_figures import HEADLINE


def layout() -> list[Any]:
    return [ids.FIGURES]


def shows(desk: Desk) -> dict[str, Show]:
    return {ids.FIGURES: lambda view, _: _told(desk, view)}


def _told(desk: Desk, view: View) -> list[Any]:
    answer, selection = periods_of(desk, view), dated(desk, view)[0]
    level, spans = number(desk.level, "share"), answer.spans()
    knees = [row for row in answer.knees if row.n]
    return [
        table(
            "The four figures", level_columns(level, spans), [row for row in answer.periods if row.n], table_id="four-figures"
        ),
        *([table("What became of the knees", knees_columns(level, spans), knees, table_id="knees")] if knees else []),
        _meanings(desk),
        csv_link(desk.csv("studio", "trend", selection), "the figures by month, each with its interval"),
        method(answer, paragraphs(TEXT["method"] + TEXT["comparison"])),
        data_note(answer),
    ]


def _meanings(desk: Desk) -> html.Dl:
    settings = desk.asker.settings
    values = {
        "limit": spoken(settings.knee.side_difference_deg, 0, "°"),
        "days": settings.follow_up.returned_within_days,
    }
    parts = [part for figure, name in HEADLINE.items() for part in (html.Dt(name), html.Dd(paragraphs(TEXT[figure], **values)))]
    return html.Dl(parts, className="meanings")


VIEW = PageView("figures", "Figures", layout, shows)

"""What the Data page shows: completeness, loads, reasons, tables, rejected rows."""

from collections.abc import Mapping
from typing import Any

from dash import html

from dashboard.components.chart import chart, reading
from dashboard.components.notes import data_note, headline, method, selected
from dashboard.components.page import Desk, frame
from dashboard.components.table import table
from dashboard.components.text import paragraphs
from dashboard.figures.loading import LOADS_SHOWN, loads_figure, most_frequent, reasons_figure
from dashboard.figures.names import plain
from dashboard.figures.theme import number
from dashboard.pages.data import ids
from dashboard.pages.data.rejects import rejected_rows
from dashboard.pages.data.tables import LOADS, QUALITY_KEY, REASONS, TABLES, quality_columns
from dashboard.questions.answers import Data
from dashboard.questions.selection import Selection

NAME = "Data"
QUESTION = "Can we trust it?"
PATH = "data"


def layout() -> html.Div:
    return frame(NAME, QUESTION, ids.ANSWER)


def answered(
    desk: Desk,
    selection: Selection,
    answer: Data,
    page_words: Mapping[str, str],
    text: dict[str, tuple[str, ...]],
    theme: str | None,
) -> list[Any]:
    """The answer in the order in which a reader asks: complete? what came in? what was left out, and why?"""
    level = number(desk.level, "share")

    def csv(rows: str) -> str:
        return desk.csv("data", rows, selection)

    return [
        selected(answer),
        headline(answer.headline),
        html.Div([_loads(answer, text, theme), _reasons(answer, text, theme)], className="panels is-double"),
        html.H2("Is it complete?", className="section-title"),
        table(
            "Completeness, with intervals",
            quality_columns(level),
            answer.quality,
            csv=csv("quality"),
            row_key=QUALITY_KEY,
        ),
        reading(*paragraphs(text["quality"], level=level)),
        html.H2("What the warehouse holds", className="section-title"),
        table("Rows by table", TABLES, answer.tables, csv=csv("tables"), row_key="table"),
        html.Details(
            [
                html.Summary("Every load"),
                table("Rows by load", LOADS, answer.loads, csv=csv("loads"), row_key="load_id"),
            ],
            className="more",
        ),
        html.H2("What was left out, and why", className="section-title"),
        *_left_out(desk, selection, answer, page_words, csv),
        method(answer, paragraphs(text["method"])),
        data_note(answer),
    ]


def _loads(answer: Data, text: dict[str, tuple[str, ...]], theme: str | None) -> html.Div:
    if not answer.loads:
        return html.Div(html.P("No load yet: fitledger load FOLDER brings the first."))
    last = answer.loads[-1]
    return html.Div(
        [
            chart(
                loads_figure(answer.loads, theme),
                title=f"{last.stored + last.replaced:,} of {last.read:,} rows of the last load are new or changed",
                alternative=f"Stacked bars of {min(len(answer.loads), LOADS_SHOWN)} loads. The last one read "
                f"{last.read:,} rows: {last.stored:,} stored, {last.replaced:,} replaced, "
                f"{last.unchanged:,} unchanged, {last.waiting:,} waiting, {last.rejected:,} rejected.",
                name="loads",
                level=2,
            ),
            reading(*paragraphs(text["loads"], loads=LOADS_SHOWN)),
        ]
    )


def _reasons(answer: Data, text: dict[str, tuple[str, ...]], theme: str | None) -> html.Div | None:
    if not answer.reasons:
        return html.Div(html.H2("No row is waiting, and none was rejected", className="chart-title"))
    first = most_frequent(answer.reasons)[0]
    total = sum(row.n for row in answer.reasons)
    rule = first.state if first.state == "waiting" else plain(first.rule)
    told = "; ".join(f"{row.n:,} {row.state}, {row.table}: {row.words}" for row in most_frequent(answer.reasons))
    return html.Div(
        [
            chart(
                reasons_figure(answer.reasons, theme),
                title=f"Left out most often: {rule} in {first.table}, {first.n:,} of {total:,} findings",
                alternative=f"Bars of rows by reason. {told}",
                name="reasons",
                level=2,
            ),
            reading(*paragraphs(text["reasons"])),
        ]
    )


def _left_out(desk: Desk, selection: Selection, answer: Data, page_words: Mapping[str, str], csv: Any) -> list[Any]:
    if not answer.reasons and not answer.rejects:
        return [html.P("Nothing: every row that was read is stored.")]
    return [
        html.Details(
            [html.Summary("Every reason"), table("Rows by reason", REASONS, answer.reasons, csv=csv("reasons"))],
            className="more",
        ),
        *rejected_rows(desk, selection, answer.rejects, page_words, csv("rejects")),
    ]

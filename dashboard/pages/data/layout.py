"""The Data page: complete? what came in? what was left out, and why? and the place where files are handed in."""

from collections.abc import Mapping
from datetime import date
from typing import Any

from dashboard.components import html
from dashboard.components.chart import chart, reading
from dashboard.components.notes import data_note, headline, method, selected
from dashboard.components.page import Desk
from dashboard.components.table import table
from dashboard.components.text import paragraphs
from dashboard.figures.loading import FATES, LOADS_SHOWN, loads_figure, most_frequent, reason_name, reasons_figure, standing
from dashboard.figures.names import table_name
from dashboard.figures.theme import day, number
from dashboard.pages.data import ids
from dashboard.pages.data.left_out import left_out
from dashboard.pages.data.sections import SELECTED, WHOLE, titled
from dashboard.pages.data.tables import EXAMS, QUALITY_KEY, TABLES, noise_columns, quality_columns
from dashboard.questions.data.answers_data import Data, LoadRow
from dashboard.questions.data.answers_noise import Noise
from dashboard.questions.selection.scope import counted
from dashboard.questions.selection.selection import Selection

NAME = "Data"
QUESTION = "Can we trust it?"
PATH = "data"
Passages = Mapping[str, tuple[str, ...]]


def layout() -> list[Any]:
    return list(ids.PLACES[1:])


def answered(answer: Data, text: Passages, theme: str | None) -> list[Any]:
    """The sentence, what came in, and what was left out most."""
    return [
        selected(answer),
        headline(answer.headline),
        html.Div([_loads(answer, text, theme), _reasons(answer, text, theme)], className="panels is-double"),
    ]


def completeness(desk: Desk, selection: Selection, answer: Data, text: Passages) -> list[Any]:
    """How complete the selected fits are, and what their exams leave empty."""
    level = number(desk.level, "share")
    return [
        *titled("Is it complete?", SELECTED),
        table(
            "Completeness, with intervals",
            quality_columns(level),
            answer.quality,
            csv=desk.csv("data", "quality", selection),
            row_key=QUALITY_KEY,
        ),
        reading(*paragraphs(text["quality"], level=level)),
        html.Details(
            [
                html.Summary("Which parts of the exam are missing"),
                table("Empty parts of the exam", EXAMS, answer.exams, csv=desk.csv("data", "exams", selection)),
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
            csv=desk.csv("noise", "noise", selection),
            row_key="outcome",
        ),
        reading(*paragraphs(text["noise"])),
    ]


def rest(
    desk: Desk, selection: Selection, answer: Data, page_words: Mapping[str, str], text: Passages, theme: str | None
) -> list[Any]:
    """What the warehouse holds, what was left out and why, how it is computed."""

    def csv(rows: str) -> str:
        return desk.csv("data", rows, selection)

    return [
        *titled("What the warehouse holds", WHOLE),
        table("Rows by table", TABLES, answer.tables, csv=csv("tables"), row_key="table"),
        *left_out(desk, selection, answer, page_words, text, csv, theme),
        method(answer, paragraphs(text["method"])),
        data_note(answer),
    ]


def _loads(answer: Data, text: Passages, theme: str | None) -> html.Div:
    loads = standing(answer.loads)
    if not loads:
        return html.Div(html.P("No load yet. Hand files in below, or load them with the command: fitledger load FOLDER."))
    last = loads[-1]
    if len(loads) == 1:
        return _one_load(last)
    return html.Div(
        [
            chart(
                loads_figure(loads, theme),
                title=f"{last.stored + last.replaced:,} of {last.read:,} rows of the last load are new or changed",
                alternative=f"Stacked bars of {min(len(loads), LOADS_SHOWN)} loads. The last one read "
                f"{last.read:,} rows: {last.stored:,} stored, {last.replaced:,} replaced, "
                f"{last.unchanged:,} unchanged, {last.waiting:,} waiting, {last.rejected:,} rejected.",
                name="loads",
                level=2,
                table_id=ids.LOADS_TABLE,
            ),
            reading(*paragraphs(text["loads"], loads=LOADS_SHOWN)),
        ]
    )


def _one_load(load: LoadRow) -> html.Div:
    """A load alone in a sentence: one bar has nothing to be compared with."""
    fates = [f"{getattr(load, fate):,} {fate}" for fate, *_ in FATES if getattr(load, fate)]
    became = f": {', '.join(fates)}" if fates else ""
    return html.Div(
        [
            html.H2(
                f"One load so far: {load.stored + load.replaced:,} of {load.read:,} rows are stored", className="chart-title"
            ),
            html.P(
                f"It was made on {day(date.fromisoformat(load.loaded_at[:10]))} and read {counted(load.read, 'row')}{became}."
            ),
            html.P(["From the second load on, a chart compares them here. ", html.A("Every load", href=f"#{ids.LOADS_TABLE}")]),
        ],
        className="one-load",
    )


def _reasons(answer: Data, text: Passages, theme: str | None) -> html.Div | None:
    if not answer.reasons:
        return html.Div(html.H2("No row is waiting, and none was rejected", className="chart-title"))
    first = most_frequent(answer.reasons)[0]
    most = f"{reason_name(first.rule)}, in {table_name(first.table)}"
    total = sum(row.n for row in answer.reasons)
    reason_words = "; ".join(
        f"{row.n:,} {row.state}, {table_name(row.table)}: {row.words}" for row in most_frequent(answer.reasons)
    )
    return html.Div(
        [
            chart(
                reasons_figure(answer.reasons, theme),
                title=f"Left out most often: {most} ({first.n:,} of {total:,} reasons)",
                alternative=f"Bars of rows by reason. {reason_words}",
                name="reasons",
                level=2,
                table_id=ids.REASONS_TABLE,
            ),
            reading(*paragraphs(text["reasons"])),
        ]
    )

"""The control charts of the Studio page, what stood beside their signals, and the same numbers as tables."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from dashboard.components import html
from dashboard.components.chart import chart, reading
from dashboard.components.page import Desk
from dashboard.components.table import csv_link, table
from dashboard.components.text import paragraphs
from dashboard.figures.control import Window, alternative, control_chart, finding, letters, of_figure
from dashboard.figures.names import FIGURES
from dashboard.figures.theme import day, number
from dashboard.pages.studio import ids
from dashboard.pages.studio.beside import beside_table
from dashboard.pages.studio.tables import period_columns, signal_columns
from dashboard.questions.selection.calendar import spoken_period
from dashboard.questions.selection.scope import counted
from dashboard.questions.selection.selection import Selection
from dashboard.questions.studio.answers_trends import SignalRow, Trends

Text = dict[str, tuple[str, ...]]

# Years of weeks would hold the browser up; the CSV has them all.
_PERIODS_SHOWN = 30
# The marks of the charts, each of a shape of its own.
_MARKS = (
    ("●", "a {every}"),
    ("○", "a {every} not over yet"),
    ("∘", "at the foot: too few in that {every}"),
    ("◆", "since the figure moved"),
)


def control_charts(
    desk: Desk, selection: Selection, answer: Trends, window: Window, text: Text, theme: str | None
) -> list[Any]:
    """Four charts, each with its signals and what stood beside them, then signals and periods as tables."""
    # The charts' own selection: no dates.
    asked = replace(selection, date_from=None, date_to=None, split=None)
    signals = [row for row in answer.signals if row.figure in FIGURES]
    chosen = "" if window.is_open else text["window"][0]
    return [
        html.H2(over_time(answer), className="section-title"),
        _marks(answer.every),
        _notes(answer),
        html.Div([_panel(answer, figure, window, theme) for figure in FIGURES], className="panels is-double over-time"),
        reading(*paragraphs(text["charts"], every=answer.every, base=_base(answer), chosen=chosen, alarm=_alarm(desk))),
        *_beside(desk, asked, answer, signals, text),
        _periods(desk, asked, answer),
    ]


def _alarm(desk: Desk) -> str:
    return number(desk.asker.settings.trends.false_alarm, "share")


def _csv(desk: Desk, rows: str, asked: Selection, answer: Trends) -> str:
    """The address of a list, with the periods where they are not those of the settings."""
    return desk.csv("trends", rows, asked, "" if answer.every == desk.asker.settings.trends.every else answer.every)


def over_time(answer: Trends) -> str:
    """How many of the four figures moved by more than their usual scatter."""
    charts = [row for row in answer.charts if row.figure in FIGURES and row.centre is not None]
    if not charts:
        return f"Over time: not enough {answer.every}s yet to say what is usual"
    moving = sum(row.n_signals > 0 for row in charts)
    which = f"{moving} of {counted(len(charts), 'figure')}" if moving else "no figure"
    return f"Over time: {which} moved by more than the usual scatter"


def _marks(every: str) -> html.Ul:
    return html.Ul(
        [
            html.Li([html.Span(sign, className="sign", **{"aria-hidden": "true"}), words.format(every=every)])
            for sign, words in _MARKS
        ],
        className="marks-key",
    )


def _notes(answer: Trends) -> html.Ul | None:
    """The dated notes by their letter."""
    if not answer.notes:
        return None
    return html.Ul(
        [html.Li([html.Strong(letter), f" {day(row.on)}: {row.words}"]) for letter, row in letters(answer.notes)],
        className="dated-notes",
    )


def _panel(answer: Trends, figure: str, window: Window, theme: str | None) -> html.Div:
    own, rows, signals = of_figure(answer, figure)
    return html.Div(
        [
            chart(
                control_chart(answer, figure, window, theme),
                title=finding(own, signals, answer.every),
                alternative=alternative(own, rows, signals, answer.every),
                name=figure,
                table_id=ids.PERIODS,
            ),
            html.P(without_name(own.words), className="card-words"),
        ]
    )


def without_name(words: str, *, upper: bool = True) -> str:
    """An answer's sentence without the figure's name before it, which the page prints in its own form."""
    sentence = words.partition(": ")[2] or words
    return sentence[:1].upper() + sentence[1:] if upper else sentence


def _base(answer: Trends) -> str:
    """The base's first and last period; the charts share it, or each has its own."""
    bases = {(row.base_from, row.base_to) for row in answer.charts if row.figure in FIGURES and row.centre is not None}
    if len(bases) != 1:
        return f"the first {answer.every}s of each chart" if bases else f"which needs more {answer.every}s"
    start, end = next(iter(bases))
    assert start is not None
    assert end is not None
    return f"{spoken_period(start, answer.every)} to {spoken_period(end, answer.every)}"


def _beside(desk: Desk, asked: Selection, answer: Trends, signals: Sequence[SignalRow], text: Text) -> list[Any]:
    if not signals:
        return []
    return [
        table("What moved", signal_columns(answer.every), signals, csv=_csv(desk, "signals", asked, answer)),
        html.Details(
            [
                html.Summary("What stood beside each move"),
                *paragraphs(text["beside"]),
                beside_table(answer, signals, _csv(desk, "beside", asked, answer)),
            ],
            className="more beside",
        ),
    ]


def _periods(desk: Desk, asked: Selection, answer: Trends) -> html.Details:
    latest = sorted({row.period for row in answer.trend})[-_PERIODS_SHOWN:]
    rows = [row for row in answer.trend if row.figure in FIGURES and row.period >= latest[0]]
    is_all = len(rows) == sum(row.figure in FIGURES for row in answer.trend)
    caption = f"The figures by {answer.every}{'' if is_all else f', the last {len(latest)} {answer.every}s'}"
    return html.Details(
        [
            html.Summary(caption),
            table(
                caption,
                period_columns(answer.every),
                rows,
                csv=_csv(desk, "trend", asked, answer),
                table_id=ids.PERIODS,
            ),
            csv_link(desk.csv("studio", "trend", asked), "the figures by month, each with its interval"),
        ],
        className="more",
    )

"""What the Studio page shows of an answer."""

from dash import html

from dashboard.components.chart import chart, reading
from dashboard.components.notes import data_note, empty_state, headline, method, selected
from dashboard.components.number import estimate
from dashboard.components.page import Desk, frame
from dashboard.components.table import Column, table
from dashboard.components.text import paragraphs
from dashboard.figures.names import FIGURES
from dashboard.figures.theme import interval, number
from dashboard.figures.trend import alternative, finding, trend_panel
from dashboard.pages.studio import ids
from dashboard.questions.answers import Studio, StudioFigure
from dashboard.questions.scope import counted
from dashboard.questions.selection import Selection

NAME = "Studio"
QUESTION = "How are we doing?"
_OVER = {"share": "of", "points": "over"}


def layout() -> html.Div:
    return frame(NAME, QUESTION, ids.ANSWER)


def answered(
    desk: Desk, selection: Selection, answer: Studio, text: dict[str, tuple[str, ...]], theme: str | None
) -> list[html.Div]:
    """The answer as headline, figures, tables and method."""
    if not answer.n_fits:
        return [empty_state(answer.headline, desk.addresses.page(""))]
    level = number(desk.level, "share")
    return [
        selected(answer, riders=answer.n_riders),
        headline(answer.headline),
        html.Div([_figure(desk, answer, figure, theme) for figure in answer.figures], className="cards"),
        reading(*paragraphs(text["reading"] + text["seen"], level=level)),
        table(
            "The figures of the selection",
            _columns(level),
            answer.figures,
            row_key="figure",
            csv=desk.csv("studio", "figures", selection),
        ),
        html.Details(
            [
                html.Summary("The figures by month"),
                table(
                    "The figures by month",
                    _month_columns(level),
                    answer.trend,
                    csv=desk.csv("studio", "trend", selection),
                ),
            ],
            className="more",
        ),
        method(answer, paragraphs(text["method"])),
        data_note(answer),
    ]


def _figure(desk: Desk, answer: Studio, figure: StudioFigure, theme: str | None) -> html.Div:
    return html.Div(
        [
            html.H2(FIGURES.get(figure.figure, figure.figure), className="card-title"),
            estimate(figure.figure, figure.estimate, figure.low, figure.high, figure.unit, level=desk.level),
            html.P(f"{_OVER[figure.unit]} {counted(figure.n, figure.counted)}", className="counted"),
            chart(
                trend_panel(figure, answer.trend, theme),
                title=finding(figure, answer.trend),
                alternative=alternative(figure, answer.trend),
                name=figure.figure,
            ),
            html.P(figure.words, className="card-words"),
        ],
        className="card",
    )


def _columns(level: str) -> list[Column]:
    return [
        Column("Figure", lambda row: FIGURES.get(row.figure, row.figure)),
        Column("Estimate", lambda row: number(row.estimate, row.unit), ("estimate",), numeric=True),
        Column(f"{level} interval", lambda row: interval(row.low, row.high, row.unit), ("low", "high"), numeric=True),
        Column("n", lambda row: number(row.n, "count"), ("n",), numeric=True),
        Column("Counted", lambda row: f"{row.counted}s"),
        Column("In words", lambda row: row.words, wide=True),
    ]


def _month_columns(level: str) -> list[Column]:
    return [
        Column("Month", lambda row: f"{row.month:%b %Y}"),
        Column("Figure", lambda row: FIGURES.get(row.figure, row.figure)),
        *_columns(level)[1:4],
    ]

"""What the Studio page shows: the span of time, the sentence, four figures, what changed since, control charts, tables."""

from collections.abc import Sequence
from typing import Any

from dash import dcc

from dashboard.components import html
from dashboard.components.address import View
from dashboard.components.chart import reading
from dashboard.components.faults import fault_note
from dashboard.components.notes import data_note, empty_state, headline, method, selected
from dashboard.components.number import estimate
from dashboard.components.page import Desk
from dashboard.components.table import table
from dashboard.components.text import paragraphs, unbroken
from dashboard.figures.control import Window
from dashboard.figures.names import FIGURES
from dashboard.figures.theme import number
from dashboard.pages.studio import ids
from dashboard.pages.studio.charts import control_charts
from dashboard.pages.studio.spans import lead_in, period_links, span_links, spans_of
from dashboard.pages.studio.tables import figure_columns
from dashboard.questions.selection.numbers import spoken
from dashboard.questions.selection.scope import counted
from dashboard.questions.selection.selection import Selection
from dashboard.questions.studio.answers_studio import Studio, StudioFigure
from dashboard.questions.studio.answers_trends import Trends
from shared.errors import StatisticsError
from shared.rig.findings import RigFinding

NAME = "Studio"
QUESTION = "How are we doing?"
_OVER = {"share": "of", "points": "over"}

Text = dict[str, tuple[str, ...]]


def layout() -> list[Any]:
    return [dcc.Store(id=ids.KEPT)]


def answered(
    desk: Desk,
    view: View,
    answer: Studio,
    trends: Trends | StatisticsError,
    findings: Sequence[RigFinding],
    text: Text,
    theme: str | None,
) -> list[Any]:
    """The answer as headline, what is found of the rigs, figures, what changed since, charts, tables and method."""
    selection = view.selection
    if not answer.n_fits:
        return [empty_state(answer.headline, desk.addresses.page(""))]
    level = number(desk.level, "share")
    # Of a fitter's own fits no day is left out.
    closed = None if selection.fitter else desk.asker.closed_day
    spans = spans_of(desk.asker.choices().last_date or answer.as_of, closed)
    return [
        selected(answer, riders=answer.n_riders),
        span_links(desk, view, spans),
        html.P(lead_in(selection, spans), className="lead-in"),
        headline(answer.headline),
        _rig(desk, selection, findings),
        html.Div([_card(desk, figure, text) for figure in answer.figures], className="cards figures"),
        reading(*paragraphs(text["reading"] + text["seen"], level=level)),
        html.Section(id=ids.SINCE, className="since"),
        *_over_time(desk, view, trends, text, theme),
        html.H2("The figures behind the page", className="section-title"),
        table(
            "The figures of the selection",
            figure_columns(level),
            answer.figures,
            row_key="figure",
            csv=desk.csv("studio", "figures", selection),
        ),
        method(answer, paragraphs(text["method"] + text["limits"], every=_every(trends))),
        data_note(answer),
    ]


def _rig(desk: Desk, selection: Selection, findings: Sequence[RigFinding]) -> html.P | None:
    """The first finding on a rig, and the way to the others."""
    if not findings:
        return None
    more = f"{counted(len(findings) - 1, 'more finding')}, and charts, on Data" if len(findings) > 1 else "Its chart is on Data"
    way = dcc.Link(more, href=desk.addresses.page("data", selection.query()))
    return html.P([html.Strong("The rig. "), unbroken(findings[0].words), " ", way], className="rig-note", role="status")


def _over_time(desk: Desk, view: View, trends: Trends | StatisticsError, text: Text, theme: str | None) -> list[Any]:
    """The control charts with the choice of their periods, or why there are none."""
    if isinstance(trends, StatisticsError):
        return [html.H2("Over time", className="section-title"), fault_note(trends)]
    window = Window(view.selection.date_from, view.selection.date_to)
    title, *charts = control_charts(desk, view.selection, trends, window, text, theme)
    return [title, period_links(desk, view, trends.every), *charts]


def _every(trends: Trends | StatisticsError) -> str:
    return trends.every if isinstance(trends, Trends) else "month"


def _card(desk: Desk, figure: StudioFigure, text: Text) -> html.Div:
    """A figure with its interval, what it is counted over, and what it means."""
    settings = desk.asker.settings
    meaning = paragraphs(
        text[figure.figure],
        limit=spoken(settings.knee.side_difference_deg, 0, "°"),
        days=settings.follow_up.returned_within_days,
    )
    return html.Div(
        [
            html.H2(FIGURES[figure.figure], className="card-title"),
            estimate(figure.figure, figure.estimate, figure.low, figure.high, figure.unit, level=desk.level),
            html.P(f"{_OVER[figure.unit]} {counted(figure.n, figure.counted)}", className="counted"),
            html.Div(meaning if figure.estimate is not None else html.P(figure.words), className="card-words"),
        ],
        className="card",
    )

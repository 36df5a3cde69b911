"""Over time: the control charts of the four figures, and what stood beside those of their moves that are news."""

from collections.abc import Sequence
from typing import Any

from dash import dcc

from dashboard.components import html
from dashboard.components.address import View
from dashboard.components.chart import chart, reading
from dashboard.components.choices import choice, choices
from dashboard.components.entering import note_end, note_form, task_form
from dashboard.components.faults import fault_note
from dashboard.components.page import Desk, PageView, Show
from dashboard.components.table import table
from dashboard.components.text import paragraphs
from dashboard.figures.control import Window, alternative, control_chart, finding, letters, of_figure
from dashboard.figures.names import FIGURES
from dashboard.figures.theme import day, number
from dashboard.pages.studio import ids
from dashboard.pages.studio.beside import beside_table
from dashboard.pages.studio.chosen import dated, periods_of, trends_of
from dashboard.pages.studio.tables import moved_words, period_columns, signal_columns
from dashboard.pages.studio.words import TEXT
from dashboard.questions.door.registry import by_period
from dashboard.questions.selection.calendar import EVERY, spoken_period
from dashboard.questions.selection.scope import counted
from dashboard.questions.selection.spans import Span, spoken_span
from dashboard.questions.studio.answers_trends import NoteRow, SignalRow, Trends
from dashboard.questions.studio.trends_news import news
from shared.errors import StatisticsError, UsageError

# Years of weeks would hold the browser up; the command and the export have them all.
_PERIODS_SHOWN = 30
# The marks of the charts, each of a shape of its own.
_MARKS = (
    ("●", "a {every}"),
    ("○", "a {every} not over yet"),
    ("∘", "at the foot: too few in that {every}"),
    ("◆", "since the figure moved"),
)


def layout() -> list[Any]:
    return [ids.OVER_TIME]


def shows(desk: Desk) -> dict[str, Show]:
    def show(view: View, theme: str | None) -> Any:
        selection, span = dated(desk, view)[0], periods_of(desk, view).spans()["this"]
        try:
            answer = trends_of(desk, selection, **by_period("trends", view.page_words.get("every")))
        except (StatisticsError, UsageError) as refused:
            return fault_note(refused)
        return _told(desk, view, answer, span, theme)

    return {ids.OVER_TIME: show}


def _told(desk: Desk, view: View, answer: Trends, span: Span, theme: str | None) -> list[Any]:
    fresh = [row for row in news(answer, span) if row.figure in FIGURES]
    values = {
        "every": answer.every,
        "base": _base(answer),
        "alarm": number(desk.asker.settings.trends.false_alarm, "share"),
        "span": spoken_span(span),
    }
    return [
        html.H2(over_time(answer, fresh, span), className="section-title"),
        period_links(desk, view, answer.every),
        _marks(answer.every),
        _notes(answer),
        html.Div(
            [_panel(desk, answer, figure, fresh, span, theme) for figure in FIGURES], className="panels is-double over-time"
        ),
        reading(*paragraphs(TEXT["charts"], **values)),
        *_beside(answer, fresh),
        html.Details(
            [html.Summary("How a figure is said to have moved"), *paragraphs(TEXT["moved"] + TEXT["limits"], **values)],
            className="method",
        ),
    ]


def over_time(answer: Trends, fresh: Sequence[SignalRow], span: Span) -> str:
    """Which of the four figures moved in the chosen dates or next to them, and whether for the better."""
    charts = [row for row in answer.charts if row.figure in FIGURES and row.centre is not None]
    if not charts:
        return f"Not enough {answer.every}s yet to say what is usual"
    if not fresh:
        return f"In {spoken_span(span)}, and right before and after, no figure moved by more than the usual scatter"
    starts = ((FIGURES[row.figure], moved_words(row), spoken_period(row.period_from, answer.every)) for row in fresh)
    told = "; ".join(f"{name[:1].lower()}{name[1:]} {said} from about {start} on" for name, said, start in starts)
    return f"{told[:1].upper()}{told[1:]}"


def period_links(desk: Desk, view: View, shown: str) -> html.Nav:
    """The periods of the control charts as links; those of the settings need no word in the address."""
    own, kept = desk.asker.settings.trends.every, {word: value for word, value in view.page_words.items() if word != "every"}

    def link(every: str) -> dcc.Link:
        words = kept if every == own else {**kept, "every": every}
        return choice(f"By {every}", desk.addresses.page("over-time", view.selection.query(), words), is_shown=every == shown)

    return choices("Periods", "periods", map(link, EVERY))


def _marks(every: str) -> html.Ul:
    return html.Ul(
        [
            html.Li([html.Span(sign, className="sign", **{"aria-hidden": "true"}), words.format(every=every)])
            for sign, words in _MARKS
        ],
        className="marks-key",
    )


def _notes(answer: Trends) -> html.Div:
    """The dated notes by their letter, and the way to a new one."""
    told = [
        html.Li([html.Strong(letter), f" {day(row.on)}: {row.words}", *_note_end(row)]) for letter, row in letters(answer.notes)
    ]
    return html.Div([html.Ul(told, className="dated-notes") if told else None, note_form("on the charts")])


def _note_end(row: NoteRow) -> list[Any]:
    frozen = " The limits are frozen anew from here on." if row.freezes else ""
    return [frozen, note_end(row.entry_id, row.words) if row.entry_id else None]


def _panel(desk: Desk, answer: Trends, figure: str, fresh: Sequence[SignalRow], span: Span, theme: str | None) -> html.Div:
    own, rows, signals = of_figure(answer, figure)
    shown = rows[-_PERIODS_SHOWN:]
    goal = next((row for row in answer.goals if row.figure == figure), None)
    caption = f"{FIGURES[figure]}" + (f", the last {counted(len(shown), answer.every)}" if len(shown) < len(rows) else "")
    drawn = chart(
        control_chart(answer, figure, Window(span.first, span.last), theme),
        title=finding(own, signals, answer.every, is_news=any(row.figure == figure for row in fresh)),
        alternative=alternative(own, rows, signals, answer.every, goal),
        name=figure,
        table=table(caption, period_columns(answer.every), shown),
    )
    # A task is given where something is to be looked into.
    task = task_form(desk, "figure", figure, f"on {FIGURES[figure]}") if signals else None
    return html.Div([drawn, reading(html.P(goal.words)) if goal else None, task])


def _base(answer: Trends) -> str:
    """The base's first and last period; the charts share it, or each has its own."""
    bases = {(row.base_from, row.base_to) for row in answer.charts if row.figure in FIGURES and row.centre is not None}
    if len(bases) != 1:
        return f"the first {answer.every}s of each chart" if bases else f"which needs more {answer.every}s"
    start, end = next(iter(bases))
    assert start is not None
    assert end is not None
    return f"{spoken_period(start, answer.every)} to {spoken_period(end, answer.every)}"


def _beside(answer: Trends, fresh: Sequence[SignalRow]) -> list[Any]:
    """What moved, and what else was different since; nothing where nothing is news."""
    if not fresh:
        return []
    return [
        table("What moved", signal_columns(answer.every), fresh, table_id="what-moved"),
        html.Details(
            [html.Summary("What stood beside each move"), *paragraphs(TEXT["beside"]), beside_table(answer, fresh)],
            className="more beside",
        ),
    ]


VIEW = PageView("over-time", "Over time", layout, shows)

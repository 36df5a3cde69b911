"""The meeting sheet: one A4 for the monthly talk, with what Studio answers, what is new, what to look at, and the tasks."""

from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from typing import Any, Final, cast

from dashboard.components import html
from dashboard.components.address import View
from dashboard.components.chart import chart
from dashboard.components.page import Desk
from dashboard.components.table import Column, table
from dashboard.components.text import paragraphs
from dashboard.figures import better
from dashboard.figures.names import FIGURES
from dashboard.figures.theme import bare_interval, interval, number
from dashboard.pages.studio.answer import beside_title, todo_steps
from dashboard.pages.studio.chosen import dated, periods_of
from dashboard.pages.studio.words import TEXT
from dashboard.questions.coaching.agreement_severity import distance_words
from dashboard.questions.coaching.answers_agreement import AgreementWithExam, WorstRow
from dashboard.questions.selection.scope import counted
from dashboard.questions.selection.selection import Selection
from dashboard.questions.selection.spans import Span, spoken_span
from dashboard.questions.studio.answers_periods import PeriodChangeRow, Periods
from dashboard.questions.studio.answers_trends import GoalRow, Trends
from dashboard.questions.studio.headline_figures import HEADLINE, NOT_ENOUGH
from dashboard.questions.studio.period_words import earlier
from dashboard.questions.studio.trends_news import news
from dashboard.report.moves import move_words, way_of
from shared.clock import spoken_day
from shared.errors import NotPermittedError, StatisticsError
from shared.logbook.entries import OF_FITS, Entries, Entry

WORST: Final = 3
# As many as one sheet takes, and as much of each.
_TASKS: Final = 3
_LONGEST: Final = 80
_LINES: Final = 3
# Whom the sheet names, with ids and without.
NAMES: Final = {
    True: "It names fits and fitters by the studio's own ids: keep it like the warehouse.",
    False: "It names no rider and no fitter.",
}
NOT_RECORDED: Final = "Not recorded: no task was written yet."


@dataclass(frozen=True)
class Sheet:
    """What the sheet shows: its title, whom it tells of, and its blocks, each a heading with what stands under it."""

    title: str
    selected: str
    headline: str
    blocks: tuple[tuple[str, Any], ...]
    made: str
    names: str


def meeting_sheet(desk: Desk, selection: Selection, *, with_ids: bool) -> Sheet:
    """The sheet of the selection's dates, of the last full month without any.

    with_ids: names fits and fitters, and tells what became of them; else neither. Raises TooFewError where there is no fit.
    """
    view = View(selection, {})
    answer = periods_of(desk, view)
    span = answer.spans()["this"]
    asked = replace(dated(desk, view)[0], rider=())
    trends = _trends(desk, asked)
    goals = trends.goal_by_figure() if trends else {}
    waiting = "; ".join(f"{step.count:,} {step.words}" for step in todo_steps(desk, asked)) or "nothing waits"
    blocks = (
        ("The four figures", [_figures(answer, goals), *_picture(desk, answer, goals)]),
        ("New signals", _signals(trends, span)),
        ("The three furthest from the exam", _worst(desk, asked, with_ids=with_ids)),
        ("Tasks", _tasks(desk, span, with_ids=with_ids)),
        ("What waits", html.P(f"{waiting[:1].upper()}{waiting[1:]}.")),
        ("What we decide", _decisions()),
    )
    return Sheet(
        title=f"The monthly talk: {spoken_span(span)}",
        selected=f"{answer.selection_words}, {counted(answer.n_riders, 'rider')}.",
        headline=answer.headline,
        blocks=blocks,
        made=spoken_day(desk.asker.today()),
        names=NAMES[with_ids],
    )


def _figures(answer: Periods, goals: Mapping[str, GoalRow]) -> Any:
    """The figures of the period, of the one before and the goal, a row each."""
    spans = answer.spans()
    now = {row.figure: row for row in answer.periods if row.which == "this"}
    rows = [row for row in answer.changes if row.against == "before" and row.figure in HEADLINE]

    def level(row: PeriodChangeRow) -> str:
        own = now.get(row.figure)
        if own is None or own.estimate is None:
            return NOT_ENOUGH
        return f"{number(own.estimate, own.unit)} ({interval(own.low, own.high, own.unit)})"

    def difference(row: PeriodChangeRow) -> str:
        if row.difference is None:
            return NOT_ENOUGH
        return f"{number_of(row)} ({bare_interval(row.low, row.high, row.unit)})"

    def goal(row: PeriodChangeRow) -> str:
        own = goals.get(row.figure)
        return "not set" if own is None else f"{number(own.goal, row.unit)}: {own.verdict}"

    then = earlier("before", spans)
    return table(
        "The four figures against the period before and the goal",
        [
            Column("Figure", lambda row: FIGURES[row.figure]),
            Column(spoken_span(spans["this"]), level, numeric=True),
            Column(f"{then[:1].upper()}{then[1:]}", _then, numeric=True),
            Column("Difference", difference, numeric=True),
            Column("Told", lambda row: row.judged),
            Column("Goal", goal, numeric=True),
        ],
        rows,
    )


def _then(row: PeriodChangeRow) -> str:
    return NOT_ENOUGH if row.estimate_against is None else number(row.estimate_against, row.unit)


def number_of(row: PeriodChangeRow) -> str:
    """A difference in its unit: of shares in points of a hundred."""
    return number(row.difference, row.unit).replace("\u202f%", "\u202fpoints")


def _picture(desk: Desk, answer: Periods, goals: Mapping[str, GoalRow]) -> list[Any]:
    then = {which: earlier(which, answer.spans()) for which in ("before", "year_before")}
    return [
        chart(
            better.periods_figure(answer, goals, "light"),
            title=beside_title(answer),
            alternative=better.alternative(answer.changes),
            name="periods",
        ),
        html.Div(
            paragraphs(TEXT["picture"], **then, level=number(desk.level, "share"), knees="", goals=""), className="reading"
        ),
    ]


def _trends(desk: Desk, selection: Selection) -> Trends | None:
    try:
        return cast(Trends, desk.asker.ask("trends", replace(selection, date_from=None, date_to=None)))
    except StatisticsError:
        return None


def _signals(trends: Trends | None, span: Span) -> Any:
    if trends is None:
        return html.P("Not enough yet to say what is usual.")
    fresh = [row for row in news(trends, span) if row.figure in FIGURES]
    nothing = f"In {spoken_span(span)}, and right before and after, no figure moved by more than the usual scatter."
    return _listed([f"{way_of(row).capitalize()}. {move_words(trends, row)}" for row in fresh], nothing)


def _worst(desk: Desk, selection: Selection, *, with_ids: bool) -> Any:
    answer: AgreementWithExam | None = None
    with suppress(StatisticsError, NotPermittedError):
        answer = cast(AgreementWithExam, desk.asker.ask("agreement", selection))
    if answer is None:
        return html.P("Not enough yet to compare fits with the exam.")
    worst = [row for row in answer.worst if row.is_to_look_at][:WORST]
    return _listed([_fit(row, with_ids=with_ids) for row in worst], "No fit of these dates is to look at.")


def _fit(row: WorstRow, *, with_ids: bool) -> str:
    """How far a fit is from the exam; who it was, and what became of it, where that may be told."""
    if with_ids:
        return f"{row.session_id}, {spoken_day(row.session_date)}, {row.fitter_id}: {row.words}"
    far = distance_words(row.n_levels, row.n_shims, row.n_others)
    return f"A fit of {row.session_date:%B}: {far} from the exam, and nothing came out better."


def _tasks(desk: Desk, span: Span, *, with_ids: bool) -> Any:
    """The open tasks, the longest over first, and those that were closed since the period began."""
    tasks = Entries(desk.asker.path).all("task")
    if not tasks:
        return html.P(NOT_RECORDED)
    today = desk.asker.today()
    still = sorted((task for task in tasks if task.is_open), key=lambda task: (task.day is None, task.day))
    closed = [task for task in reversed(tasks) if not task.is_open and task.last.at[:10] >= span.first.isoformat()]

    def open_words(task: Entry) -> str:
        until = f", until {spoken_day(task.day)}" if task.day else ""
        late = " (over)" if task.day and task.day < today else ""
        return f"{_about(task, with_ids=with_ids)} {task.who or 'Nobody yet'}{until}{late}."

    def closed_words(task: Entry) -> str:
        came = _short(task.said) if with_ids or task.kind not in OF_FITS else ""
        return f"{_about(task, with_ids=with_ids)} {_ended(task.state.capitalize() + (f': {came}' if came else ''))}"

    return html.Div(
        [
            html.Div([html.H4(f"Open: {len(still):,}"), _some([open_words(task) for task in still], "None.")]),
            html.Div([html.H4(f"Closed since: {len(closed):,}"), _some([closed_words(task) for task in closed], "None.")]),
        ],
        className="pair",
    )


def _about(task: Entry, *, with_ids: bool) -> str:
    """What a task says; of one on a fit or a follow-up, which may spell an id, only that it is one."""
    if task.kind in OF_FITS and not with_ids:
        return "On a fit."
    return _ended(_short(task.text)) if task.text else "Without words."


def _short(words: str) -> str:
    return words if len(words) <= _LONGEST else f"{words[:_LONGEST].rstrip()}…"


def _ended(words: str) -> str:
    return words if words.endswith(("…", ".", "!", "?")) else f"{words}."


def _some(lines: Sequence[str], nothing: str) -> Any:
    more = [f"And {len(lines) - _TASKS:,} more."] if len(lines) > _TASKS else []
    return _listed([*lines[:_TASKS], *more], nothing)


def _listed(lines: Sequence[str], nothing: str) -> Any:
    return html.Ul([html.Li(words) for words in lines], className="sentences") if lines else html.P(nothing)


def _decisions() -> Any:
    """Lines to write on."""
    head = html.Tr([html.Th(words, scope="col") for words in ("What", "Who", "Until")])
    lines = [html.Tr([html.Td("\xa0")] * 3) for _ in range(_LINES)]
    return html.Table([html.Thead(head), html.Tbody(lines)], className="by-hand")

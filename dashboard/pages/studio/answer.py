"""The answer: four figures against the period before and a year before, and what to do now."""

from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from dataclasses import replace
from typing import Any

from dashboard.components import html
from dashboard.components.address import View, query_for
from dashboard.components.chart import chart
from dashboard.components.next_steps import NextStep, next_steps
from dashboard.components.page import Desk, PageView, Show, place
from dashboard.components.report_links import report_links
from dashboard.components.table import table
from dashboard.components.text import paragraphs
from dashboard.figures.better import alternative, periods_figure
from dashboard.figures.theme import number
from dashboard.pages.studio import ids
from dashboard.pages.studio.chosen import dated, goals_of, periods_of
from dashboard.pages.studio.tables import change_columns
from dashboard.pages.studio.tasks import VIEW_PATH as TASKS
from dashboard.pages.studio.tasks import n_overdue, open_tasks
from dashboard.pages.studio.words import TEXT
from dashboard.questions.selection.selection import Selection
from dashboard.questions.studio.answers_periods import Periods
from dashboard.questions.studio.goals import named
from dashboard.questions.studio.headline_figures import NOT_ENOUGH, NOT_RECORDED
from dashboard.questions.studio.period_words import earlier
from shared.errors import LogbookError, NotPermittedError, NotReleasedError, StatisticsError

# Finds one kind of what waits in a selection.
Find = Callable[[Desk, Selection], Iterator[NextStep]]


def layout() -> list[Any]:
    return [html.Div([place(ids.PICTURE), place(ids.TODO)], className="answer-and-todo")]


def shows(desk: Desk) -> dict[str, Show]:
    return {
        ids.PICTURE: lambda view, theme: _picture(desk, view, theme),
        ids.TODO: lambda view, _: _todo(desk, view),
    }


def _picture(desk: Desk, view: View, theme: str | None) -> list[Any]:
    answer, goals = periods_of(desk, view), goals_of(desk, dated(desk, view)[0])
    spans = answer.spans()
    before, year_before = (earlier(which, spans) for which in ("before", "year_before"))
    return [
        chart(
            periods_figure(answer, goals, theme),
            title=beside_title(answer),
            alternative=" ".join([alternative(answer.changes), *(named(row) for row in goals.values())]),
            name="periods",
            level=2,
            table=table("The figures beside earlier periods", change_columns(spans), answer.changes),
        ),
        html.Div(
            paragraphs(
                TEXT["picture"], before=before, year_before=year_before, level=number(desk.level, "share"), knees=_knees(answer)
            ),
            className="reading",
        ),
    ]


def beside_title(answer: Periods) -> str:
    """How many of the figures are better, unchanged and worse than before."""
    rows = [row.judged or NOT_ENOUGH for row in answer.changes if row.against == "before"]
    if set(rows) <= {NOT_ENOUGH, NOT_RECORDED}:
        return "Nothing earlier yet to compare with"
    kinds = [
        f"{rows.count(kind)} {kind}"
        for kind in ("better", "no clear change", "worse", NOT_ENOUGH, NOT_RECORDED)
        if kind in rows
    ]
    beside = f"Beside {earlier('before', answer.spans())}"
    return f"{beside}: no clear change in any figure" if set(rows) == {"no clear change"} else f"{beside}: {', '.join(kinds)}"


def _knees(answer: Periods) -> str:
    """Better, no clear change and worse together, since the first alone would mislead."""
    shares = {row.outcome: row for row in answer.knees if row.which == "this"}
    if not shares or any(row.share is None for row in shares.values()):
        return ""
    told = ", ".join(f"{number(row.share, 'share')} {outcome.replace('_', ' ')}" for outcome, row in shares.items())
    return f"Knees: {told}."


def _todo(desk: Desk, view: View) -> list[Any]:
    selection = dated(desk, view)[0]
    return [next_steps(todo_steps(desk, selection), heading="To do"), report_links(desk, selection)]


def todo_steps(desk: Desk, selection: Selection, finds: Sequence[Find] = ()) -> list[NextStep]:
    """What waits, each with the count of the page that it leads to; what a reader may not see is left out.

    finds: which of it, all without any. The letter and the meeting sheet tell the same.
    """
    steps: list[NextStep] = []
    for find in finds or (calls_due, tasks_open, fits_to_look_at, rows_left_out, rig_findings, age):
        with suppress(StatisticsError, NotReleasedError, NotPermittedError, LogbookError):
            steps += find(desk, selection)
    return steps


def calls_due(desk: Desk, selection: Selection) -> Iterator[NextStep]:
    """Whom to call today, whatever dates are looked at."""
    today = replace(selection, date_from=None, date_to=None, rider=())
    answer: Any = desk.asker.ask("calls", today)
    if n := len(answer.calls):
        words = f"{'call' if n == 1 else 'calls'} due today"
        yield NextStep(words, desk.addresses.page("returns/calls", today.query()), n)


def tasks_open(desk: Desk, _: Selection) -> Iterator[NextStep]:
    tasks = open_tasks(desk)
    if n := len(tasks):
        over = n_overdue(desk, tasks)
        words = f"{'task' if n == 1 else 'tasks'} open" + (f", {over:,} of them over" if over else "")
        yield NextStep(words, desk.addresses.page(TASKS), n)


def fits_to_look_at(desk: Desk, selection: Selection) -> Iterator[NextStep]:
    asked = replace(selection, rider=())
    answer: Any = desk.asker.ask("agreement", asked)
    if n := answer.n_to_look_at:
        words = f"{'fit' if n == 1 else 'fits'} of these dates to look at with the fitter"
        yield NextStep(words, desk.addresses.page("fitters/worst-disagreements", asked.query()), n)


def rows_left_out(desk: Desk, selection: Selection) -> Iterator[NextStep]:
    """Rows that are in no figure until they are mended, or their session comes; for those who may load them again."""
    desk.asker.require_loading()
    answer: Any = desk.asker.ask("data", Selection())
    if n := sum(row.rejected + row.waiting for row in answer.tables):
        yield NextStep(f"{'row' if n == 1 else 'rows'} left out, to mend", desk.addresses.page("data/left-out"), n)


def rig_findings(desk: Desk, selection: Selection) -> Iterator[NextStep]:
    answer: Any = desk.asker.ask("rig", replace(selection, rider=()))
    if n := len(answer.findings):
        words = f"{'finding' if n == 1 else 'findings'} on what the rig measures"
        yield NextStep(words, desk.addresses.page("data", query_for("data", selection)), n)


def age(desk: Desk, selection: Selection) -> Iterator[NextStep]:
    told = desk.asker.freshness()
    if told.age_days is not None and told.age_days > 0:
        words = f"{'day' if told.age_days == 1 else 'days'} since the newest row: load what came since"
        yield NextStep(words, desk.addresses.page("data"), told.age_days)


VIEW = PageView("", "Answer", layout, shows)

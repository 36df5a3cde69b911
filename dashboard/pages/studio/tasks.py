"""Tasks: every open one, the overdue first, each leading to the finding that it is about; what came of the others is folded."""

from typing import Any, Final

from dash import dcc

from dashboard.components import html
from dashboard.components.address import View
from dashboard.components.entering import task_end, task_words
from dashboard.components.page import Desk, PageView, Show
from dashboard.components.table import Column, table
from dashboard.figures.names import FIGURES
from dashboard.figures.theme import day
from dashboard.pages.studio import ids
from dashboard.pages.studio.unowned import unowned
from dashboard.questions.door.entering import ended_seen_by, open_seen_by
from dashboard.questions.selection.scope import counted
from shared.logbook.entries import Entry, Kind

VIEW_PATH: Final = "tasks"
# So many of each stand on the page; the command tells all.
_SHOWN: Final = 12
# Where a task that was given by command leads.
_STANDS_AT: Final[dict[Kind, str]] = {
    "figure": "over-time", "period": "over-time", "fit": "fitters/worst-disagreements", "fitter": "fitters",
    "rider_follow_up": "returns/calls", "load": "data/left-out", "rig": "data/noise",
}  # fmt: skip


def shows(desk: Desk) -> dict[str, Show]:
    return {ids.TASKS: lambda view, _: _told(desk, view)}


def open_tasks(desk: Desk) -> list[Entry]:
    """The open tasks that the reader may see, the one that is due first at the top, those without a day last."""
    return sorted(open_seen_by(desk.asker, "task"), key=lambda task: (task.day is None, task.day, task.opened_at))


def n_overdue(desk: Desk, tasks: list[Entry]) -> int:
    today = desk.asker.today()
    return sum(task.day is not None and task.day < today for task in tasks)


def _told(desk: Desk, view: View) -> list[Any]:
    tasks = open_tasks(desk)
    over = n_overdue(desk, tasks)
    heading = f"{counted(len(tasks), 'task')} open" + (f", {over:,} over" if over else "")
    shown = [html.Li([_where(desk, task), ": ", html.Span(_words(desk, task)), task_end(task, "")]) for task in tasks[:_SHOWN]]
    return [
        html.H2(heading, className="section-title"),
        html.Ul(shown, className="tasks") if shown else html.P("A task is given beside the finding that it is about."),
        html.P(f"{len(tasks) - _SHOWN:,} more: fitledger task list.") if len(tasks) > _SHOWN else None,
        *_unowned(desk, view, tasks),
        _ended(desk),
    ]


def _unowned(desk: Desk, view: View, tasks: list[Entry]) -> list[Any]:
    """What was found and given to nobody; the way leads to where a task is given."""
    steps = unowned(desk, view, tasks)
    if not steps:
        return [html.P("Every finding of these dates has its task, or there is none.")]
    return [
        html.H2("Found, and nobody's task yet", className="part-title"),
        html.Ul([html.Li(dcc.Link(step.words, href=step.href)) for step in steps]),
    ]


def _words(desk: Desk, task: Entry) -> str:
    return task_words(task, desk.asker.today())


def _where(desk: Desk, task: Entry) -> dcc.Link:
    return dcc.Link(_about(task), href=desk.addresses.prefix + (task.address or _STANDS_AT[task.kind]))


def _about(task: Entry) -> str:
    """What a task is about, in words."""
    named = {
        "figure": FIGURES.get(task.key, task.key),
        "fit": f"Fit {task.key}",
        "load": f"Load {task.key}",
        "rig": "Rig",
        "rider_follow_up": f"Follow-up of {task.key}",
    }
    return named.get(task.kind, f"{task.kind.capitalize()} {task.key}")


def _ended(desk: Desk) -> html.Details | None:
    ended = ended_seen_by(desk.asker, "task")[::-1]
    if not ended:
        return None
    columns = [
        Column("About", _about),
        Column("Task", lambda task: task.text, wide=True),
        Column("Who", lambda task: task.who),
        Column("Ended", lambda task: f"{task.state}, {day(task.ended_on)}"),
        Column("What came of it", lambda task: task.said, wide=True),
    ]
    rows = ended[:_SHOWN]
    shown = table("Tasks that are done or dropped, the last first", columns, rows, row_key="entry_id", table_id="tasks-ended")
    return html.Details([html.Summary(f"{len(ended):,} done or dropped"), shown], className="more")


def layout() -> list[Any]:
    return [ids.TASKS]


VIEW = PageView(VIEW_PATH, "Tasks", layout, shows)

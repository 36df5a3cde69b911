"""What is said where it is seen: marks of calls, tasks and notes. assets/entries.js draws the fields and sends what is typed.

A call's marks are one stop of the keyboard, and the arrow keys go along them.
"""

from collections.abc import Sequence
from datetime import date
from typing import Any, Final

from dashboard.components import html
from dashboard.components.page import Desk
from dashboard.figures.theme import day
from dashboard.questions.door.entering import CHARTS, open_seen_by
from dashboard.questions.door.goals import unit_of
from dashboard.questions.returns.calls_marked import DATED
from dashboard.questions.studio.goals import written
from shared.errors import LogbookError, NotPermittedError
from shared.logbook.entries import LONGEST_TEXT, Entry, Kind, Sort

# So many tasks stand beside one finding.
_SHOWN: Final = 3
# What a button says; the words behind it are told once it is pressed.
_BUTTONS: Final = {"called": "Called", "booked": "Booked for…", "declined": "Does not want", "again": "Try again on…"}


def call_marks(session_id: str, rider_id: str, *, marked: bool = False) -> html.Div:
    """The marks of one call; of a `marked` one, the way back to the list."""
    offered = ["waiting"] if marked else list(_BUTTONS)
    buttons = [
        html.Button(
            _BUTTONS.get(mark, "Back on the list"),
            className="call-mark",
            tabIndex=0 if place == 0 else -1,
            **{"type": "button", "data-mark": mark, "data-dated": "yes" if mark in DATED else "no"},
        )
        for place, mark in enumerate(offered)
    ]
    return html.Div(
        buttons,
        className="call-marks way-to",
        role="toolbar",
        **{"aria-label": f"Mark the call to {rider_id}", "data-session": session_id},
    )


def task_form(desk: Desk, kind: Kind, key: str, what: str) -> html.Div | None:
    """The open tasks about a finding, each with its end, and a new one; nothing for whom tasks are not. what: it, in words."""
    given = task_fold(desk, kind, key, what)
    return html.Div([tasks_told(desk, kind, key, what), given], className="in-place way-to") if given else None


def task_fold(desk: Desk, kind: Kind, key: str, what: str) -> html.Details | None:
    """The way to a new task about a finding; none for whom tasks are not."""
    if _about(desk, kind, key) is None:
        return None
    return _fold("Give a task…", what, {"data-sort": "task", "data-kind": kind, "data-key": key})


def tasks_told(desk: Desk, kind: Kind, key: str, what: str) -> html.Ul | None:
    """The open tasks about a finding, each with what ends it; none where there is none."""
    tasks = _about(desk, kind, key)
    if not tasks:
        return None
    today = desk.asker.today()
    told = [html.Li([html.Span(task_words(task, today)), task_end(task, what)]) for task in tasks[:_SHOWN]]
    if tasks[_SHOWN:]:
        told.append(html.Li(f"{len(tasks) - _SHOWN:,} more, on Studio, Tasks."))
    return html.Ul(told, className="tasks way-to")


def task_end(task: Entry, what: str) -> html.Details:
    """What ends a task: done or dropped, with what came of it."""
    return _fold("What came of it…", what, {"data-entry": task.entry_id})


def note_form(what: str) -> html.Details:
    """A new dated note that stands on the charts over time."""
    return _fold("Write a note…", what, {"data-sort": "note", "data-kind": "period", "data-key": CHARTS})


def goal_form(desk: Desk, figure: str, what: str) -> html.Details | None:
    """What a figure is to reach, from a day on, and the goals set so far, each with its way back; nothing for who may not."""
    if desk.asker.reader().own_cases_only:
        return None
    goals = _about(desk, "figure", figure, "goal") or ()
    fold = _fold(
        "Change the goal…" if goals else "Set a goal…",
        what,
        {"data-sort": "goal", "data-kind": "figure", "data-key": figure},
    )
    if goals:
        fold.children.append(html.Ul([_goal_end(goal, what) for goal in reversed(goals[-_SHOWN:])], className="goals"))
    return fold


def _goal_end(goal: Entry, what: str) -> html.Li:
    assert goal.value is not None
    assert goal.day is not None
    told = f"{written(goal.value, unit_of(goal.key))} from {day(goal.day)} on, set by {goal.opened_by}"
    back = html.Button(
        ["Take back", html.Span(f": {told}, {what}", className="for-readers")],
        className="button",
        **{"type": "button", "data-drop": goal.entry_id},
    )
    return html.Li([html.Span(told), " ", back])


def note_end(entry_id: str, what: str) -> html.Details:
    return _fold("Take away…", what, {"data-entry": entry_id, "data-sort": "note"})


def task_words(task: Entry, today: date) -> str:
    """A task in a line: what, who, until when, and whether that is past."""
    who = f" {task.who}," if task.who else ""
    until = "" if task.day is None else f" until {day(task.day)}{' (over)' if task.day < today else ''},"
    return f"{task.text.rstrip('.')}:{who}{until} given by {task.opened_by} on {day(task.opened_on)}"


def _about(desk: Desk, kind: Kind, key: str, sort: Sort = "task") -> Sequence[Entry] | None:
    try:
        return open_seen_by(desk.asker, sort, (kind, key))
    except (NotPermittedError, LogbookError):
        return None


def _fold(words: str, what: str, data: dict[str, Any]) -> html.Details:
    summary = html.Summary([words, html.Span(f" {what}", className="for-readers")])
    return html.Details(
        [summary, html.Div(className="entry-body")], className="entry way-to", **{"data-longest": str(LONGEST_TEXT), **data}
    )

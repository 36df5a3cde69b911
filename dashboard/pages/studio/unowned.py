"""Findings that nobody has been given: moves of a figure, fits to look at, findings of a rig, rows that a load left out."""

from collections.abc import Iterator
from contextlib import suppress
from dataclasses import replace
from typing import Any

from dashboard.components.address import View
from dashboard.components.next_steps import NextStep
from dashboard.components.page import Desk
from dashboard.figures.names import FIGURES
from dashboard.pages.studio.chosen import dated, periods_of, trends_of
from dashboard.questions.selection.scope import counted
from dashboard.questions.selection.selection import Selection
from dashboard.questions.studio.trends_news import news
from shared.errors import LogbookError, NotPermittedError, NotReleasedError, StatisticsError
from shared.logbook.entries import Entry, Kind


def unowned(desk: Desk, view: View, tasks: list[Entry]) -> list[NextStep]:
    """Each kind of finding, with how many no open task is about, and the way there; what a reader may not see is left out."""
    found: list[NextStep] = []
    for find in (_moves, _fits, _rigs, _left_out):
        with suppress(StatisticsError, NotReleasedError, NotPermittedError, LogbookError):
            found += find(desk, view, tasks)
    return found


def _keys(tasks: list[Entry], kind: Kind) -> set[str]:
    return {task.key for task in tasks if task.kind == kind}


def _moves(desk: Desk, view: View, tasks: list[Entry]) -> Iterator[NextStep]:
    selection, span = dated(desk, view)[0], periods_of(desk, view).spans()["this"]
    moved = {row.figure for row in news(trends_of(desk, selection), span)} & {*FIGURES}
    for figure in sorted(moved - _keys(tasks, "figure")):
        yield NextStep(f"{FIGURES[figure]} moved", desk.addresses.page("over-time", view.selection.query()))


def _fits(desk: Desk, view: View, tasks: list[Entry]) -> Iterator[NextStep]:
    asked = replace(dated(desk, view)[0], rider=())
    answer: Any = desk.asker.ask("agreement", asked)
    if n := len({row.session_id for row in answer.worst if row.is_to_look_at} - _keys(tasks, "fit")):
        words = f"{counted(n, 'fit')} of these dates to look at"
        yield NextStep(words, desk.addresses.page("fitters/worst-disagreements", asked.query()))


def _rigs(desk: Desk, view: View, tasks: list[Entry]) -> Iterator[NextStep]:
    answer: Any = desk.asker.ask("rig", replace(dated(desk, view)[0], rider=()))
    if n := len({row.key for row in answer.findings} - _keys(tasks, "rig")):
        yield NextStep(f"{counted(n, 'finding')} on what the rig measures", desk.addresses.page("data/noise"))


def _left_out(desk: Desk, _: View, tasks: list[Entry]) -> Iterator[NextStep]:
    """Rows that are in no figure: a task about any load's is about them."""
    desk.asker.require_loading()
    answer: Any = desk.asker.ask("data", Selection())
    if (n := sum(row.rejected + row.waiting for row in answer.tables)) and not _keys(tasks, "load"):
        yield NextStep(f"{counted(n, 'row')} left out, to mend", desk.addresses.page("data/left-out"))

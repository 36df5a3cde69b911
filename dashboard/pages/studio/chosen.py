"""Which dates the Studio page tells of, and its answer over them: every view of the page shares both."""

from dataclasses import replace
from typing import Any, cast

from dashboard.components.address import View
from dashboard.components.page import Desk
from dashboard.components.period_chips import LAST_MONTH, Chip, chip_shown, chips_of
from dashboard.questions.selection.selection import Selection
from dashboard.questions.studio.answers_periods import Periods
from dashboard.questions.studio.answers_trends import GoalRow, Trends
from shared.errors import NotPermittedError, NotReleasedError, StatisticsError


def dated(desk: Desk, view: View) -> tuple[Selection, Chip | None]:
    """The selection with the dates that the page tells of, and the span of the calendar that they are, if any.

    Without dates that is the last full month by today's calendar, or all dates where the address says so.
    """
    # Of a fitter's own fits no day is left out.
    closed = None if view.selection.fitter else desk.asker.closed_day
    chip = chip_shown(chips_of(desk.asker.today(), closed), view, by_month=True)
    selection = replace(chip.of(view.selection) if chip else view.selection, split=None)
    if selection.date_from or selection.date_to:
        return selection, chip
    return replace(selection, date_from=None if closed else desk.asker.choices().first_date, date_to=closed), chip


def trends_of(desk: Desk, selection: Selection, **every: Any) -> Trends:
    """The control charts over all dates, so that a month stands beside the time before it."""
    return cast(Trends, desk.asker.ask("trends", replace(selection, date_from=None, date_to=None), **every))


def goals_of(desk: Desk, selection: Selection) -> dict[str, GoalRow]:
    """The goal of each figure that has one, with what the figure's process makes of it."""
    try:
        return trends_of(desk, selection).goal_by_figure()
    except (StatisticsError, NotReleasedError, NotPermittedError):
        return {}


def periods_of(desk: Desk, view: View) -> Periods:
    """The page's answer: the figures of those dates beside earlier ones. Of which month they are where none are chosen, the
    question knows itself."""
    selection, chip = dated(desk, view)
    is_open = not (view.selection.date_from or view.selection.date_to)
    if is_open and chip and chip.name == LAST_MONTH:
        selection = replace(selection, date_from=None, date_to=None)
    return cast(Periods, desk.asker.ask("periods", selection))

"""Does a figure reach its goal: what was set and when, and what the figure's process makes of it."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

import numpy as np

from dashboard.questions.selection.calendar import first_day, spoken_period
from dashboard.questions.selection.numbers import spoken, spoken_percent, spoken_percents
from dashboard.questions.studio.answers_trends import GoalRow, TrendRow
from dashboard.questions.studio.headline_figures import BETTER, HEADLINE
from dashboard.questions.studio.trends_charted import Charted
from shared.errors import TooFewError
from shared.logbook.entries import Entry
from shared.settings import Goals, Settings
from shared.statistics.goals import Process, Verdict, process_of, share_error, verdict

NOT_ENOUGH: Final[Verdict] = "not enough yet"


@dataclass(frozen=True)
class Goal:
    """A value that a figure is to reach from a day on (None: from ever, by the settings)."""

    value: float
    day: date | None = None
    set_by: str = ""
    set_on: str = ""


def goals_set(settings: Goals, entries: Sequence[Entry]) -> dict[str, list[Goal]]:
    """The goals of each headline figure that has any, by the day from which each holds: that of the settings before all that
    were set later, of one day the one that was set last. What was dropped is left out."""
    found: dict[str, list[Goal]] = {}
    for figure in HEADLINE:
        value = settings.of(figure)
        by_day = {} if value is None else {date.min: Goal(value)}
        for one in entries:
            if one.key == figure and one.is_open and one.value is not None and one.day is not None:
                by_day[one.day] = Goal(one.value, one.day, one.opened_by, one.opened_at[:10])
        if by_day:
            found[figure] = [by_day[day] for day in sorted(by_day)]
    return found


def value_in_force(goals: Sequence[Goal], period: int, every: str) -> float | None:
    """The goal that holds on the last day of a period (a number)."""
    goal = in_force(goals, first_day(period + 1, every) - timedelta(days=1))
    return goal.value if goal else None


def in_force(goals: Sequence[Goal], day: date) -> Goal | None:
    """The goal that holds on a day."""
    return next((one for one in reversed(goals) if one.day is None or one.day <= day), None)


def goal_rows(
    charted: Sequence[Charted], trend: Sequence[TrendRow], goals: Mapping[str, Sequence[Goal]], today: date, settings: Settings
) -> Iterator[GoalRow]:
    """What is to be told of each figure with a goal: of the one in force today, or else of the first to come."""
    for chart in charted:
        figure = chart.series.measured.figure
        if set_ones := goals.get(figure):
            goal = in_force(set_ones, today) or set_ones[0]
            yield _goal_row(chart, [row for row in trend if row.figure == figure], goal, today, settings)


def _goal_row(chart: Charted, rows: Sequence[TrendRow], goal: Goal, today: date, settings: Settings) -> GoalRow:
    measured, every = chart.series.measured, settings.trends.every
    told: Verdict = NOT_ENOUGH
    process, since, why = None, None, chart.reason
    if chart.limits is not None:
        own = _own_periods(chart, rows, every)
        try:
            process = _process(own, measured.unit, chart.design_effect or 1.0, settings.trends.base_minimum)
            told, since = verdict(process, goal.value, BETTER[measured.figure]), own[0].period
        except TooFewError:
            n = sum(row.estimate is not None for row in own)
            why = f"{n} of the {settings.trends.base_minimum} {every}s that it needs since the figure last moved."
    row = GoalRow(
        figure=measured.figure,
        unit=measured.unit,
        goal=goal.value,
        valid_from=goal.day,
        set_by=goal.set_by,
        set_on=goal.set_on,
        verdict=told,
        period_from=since,
        n_periods=process.n if process else 0,
        centre=process.centre if process else None,
        low=_within(process.low, measured.unit) if process else None,
        high=_within(process.high, measured.unit) if process else None,
        words="",
    )
    return GoalRow(**{**vars(row), "words": _words(row, every, why, today)})


def _own_periods(chart: Charted, rows: Sequence[TrendRow], every: str) -> list[TrendRow]:
    """The periods of the process as it is now: those that are over, from the step on where the figure moved."""
    began = chart.step.first if chart.step and chart.has_moved else chart.series.periods[chart.series.base][0]
    first = first_day(int(began), every)
    return [row for row in rows if not row.is_partial and row.period >= first]


def _process(own: Sequence[TrendRow], unit: str, design_effect: float, fewest: int) -> Process:
    values = np.array([row.estimate for row in own], dtype=float)
    known = np.isfinite(values)
    if unit != "share" or not known.any():
        return process_of(values, 0.0, fewest)
    n = np.array([row.n for row in own], dtype=float)[known]
    error = share_error(float(values[known] @ n), float(n.sum()), float(np.median(n)), design_effect)
    return process_of(values, error, fewest)


def _within(value: float, unit: str) -> float:
    return min(max(value, 0.0), 1.0) if unit == "share" else value


def _words(row: GoalRow, every: str, why: str, today: date) -> str:
    """As in: Goal 75 % or more: misses it. Since May 2025 nearly every month lies at 55 to 68 %, with a mean of 61 %."""
    least = "or more" if BETTER[row.figure] > 0 else "or less"
    coming = f" from {row.valid_from.day} {row.valid_from:%B %Y} on" if row.valid_from and row.valid_from > today else ""
    said = f"Goal {written(row.goal, row.unit)} {least}{coming}: {row.verdict}"
    if row.low is None or row.high is None or row.centre is None or row.period_from is None:
        return f"{said}; {why.removeprefix('not enough yet, ')}" if why else f"{said}."
    ends = (
        spoken_percents(row.low, row.high) if row.unit == "share" else f"{spoken(row.low, 1)} to {spoken(row.high, 1)} points"
    )
    since = spoken_period(row.period_from, every)
    return f"{said}. Since {since} nearly every {every} lies at {ends}, with a mean of {written(row.centre, row.unit)}."


def named(row: GoalRow) -> str:
    """The same with the figure's name, as in: Knees better at departure, goal 75 % or more: misses it."""
    return f"{HEADLINE[row.figure]}, {row.words[:1].lower()}{row.words[1:]}"


def written(value: float, unit: str) -> str:
    """A goal in its unit, as in: 75 %; 2.5 points."""
    return spoken_percent(value) if unit == "share" else spoken(value, 1, "points")

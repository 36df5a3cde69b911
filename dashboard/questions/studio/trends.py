"""How the headline figures move: each on a control chart whose limits are frozen from a base period, with its signals."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import date
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dashboard.questions.data import noise
from dashboard.questions.selection.calendar import EVERY, first_day, period_of, spoken_period
from dashboard.questions.selection.every_fit import Remember, at_once
from dashboard.questions.selection.numbers import spoken, spoken_percent
from dashboard.questions.selection.scope import Scope, counted, names_of, scope_of
from dashboard.questions.selection.selection import Selection
from dashboard.questions.studio import studio
from dashboard.questions.studio.answers_trends import BesideRow, ChartRow, NoteRow, SignalRow, TrendRow, Trends
from dashboard.questions.studio.beside import Beside
from dashboard.questions.studio.goals import Goal, goal_rows, goals_set, value_in_force
from dashboard.questions.studio.headline_figures import NAMES
from dashboard.questions.studio.studio import Measured
from dashboard.questions.studio.trends_charted import Charted, charts_of
from dashboard.questions.studio.trends_fits import fits_of, frozen_anew, notes_of
from shared.errors import UsageError
from shared.logbook.entries import Entered, Entry
from shared.rig.care import Watched, concerning, with_notes
from shared.settings import Settings
from shared.warehouse import Warehouse

Array = NDArray[np.float64]
Ints = NDArray[np.int64]
Mask = NDArray[np.bool_]
Rows = dict[str, NDArray[Any]]

_NO_ENTRIES = Entered()
# Days of a period, on average over the years.
_DAYS = {"week": 7.0, "month": 365.25 / 12, "quarter": 365.25 / 4}

METHOD = {
    "means": "individuals chart: mean +- 2.66 mean moving range of the base period (NIST/SEMATECH 6.3.2.2)",
    "shares": "p chart: p +- 3 sqrt(p (1 - p) / n), n divided by the base period's design effect (rows of one rider)",
    "signals": "step: the date after the base at which before and after differ most, told where its q-value is below "
    "false_alarm",
    "p_value": "change-point model: the chance of so large a step at whatever date, where nothing moved; error by periods and "
    "by riders, the larger",
    "q_value": "Benjamini-Hochberg over the figures",
    "goals": "beyond the limits of the process since it last moved a goal is reached or missed, within them by chance",
    "gaps": "a period with too few rows has no figure and no part in a step; no moving range reaches over it",
}


def ask(
    warehouse: Warehouse,
    selection: Selection,
    settings: Settings,
    every: tuple[str, ...] = (),
    remember: Remember | None = None,
    rig: Watched | None = None,
    today: date | None = None,
    entries: Entered = _NO_ENTRIES,
) -> Trends:
    """The trend of each headline figure with limits, signals and goals, and what changed beside each signal.

    every: one of EVERY; none: that of the settings; else UsageError. rig: what is found of the rigs, as dated notes. today: the
    goal in force on it is told, or on the data's last day without one; entries: goals of the logbook, and the notes that were
    written, one of which may freeze the limits anew.
    """
    by_period = with_notes(_settings_by_period(settings, every), concerning(rig, selection.studio))
    is_other = by_period.trends.every != settings.trends.every
    written = [entry for entry in entries.notes if entry.is_open]
    by_period = by_period.model_copy(update={"trends": frozen_anew(by_period.trends, written)})
    return _by_period(warehouse, selection, by_period, remember, today, entries.goals, written, is_other=is_other)


def _settings_by_period(settings: Settings, every: tuple[str, ...]) -> Settings:
    """The settings for these periods: the base covers as much time as before, and no fewer periods than a base needs."""
    own = settings.trends
    if not every or every == (own.every,):
        return settings
    if len(every) > 1 or every[0] not in EVERY:
        raise UsageError(f"every: found {', '.join(every)!r}, expected one of {', '.join(EVERY)}.")
    periods = round(own.base_periods * _DAYS[own.every] / _DAYS[every[0]])
    trends = own.model_copy(update={"every": every[0], "base_periods": max(own.base_minimum, periods)})
    return settings.model_copy(update={"trends": trends})


def _base_in_time(settings: Settings, first: int) -> Settings:
    """The base as a span of time, unless it has dates: where few weeks have a figure, a count of them would reach too far."""
    own = settings.trends
    if own.base_from is not None or own.base_to is not None:
        return settings
    trends = own.model_copy(update={"base_to": first_day(first + own.base_periods - 1, own.every)})
    return settings.model_copy(update={"trends": trends})


def _by_period(
    warehouse: Warehouse,
    selection: Selection,
    settings: Settings,
    remember: Remember | None,
    today: date | None,
    set_goals: Sequence[Entry],
    written: Sequence[Entry],
    *,
    is_other: bool,
) -> Trends:
    scope = scope_of(warehouse, selection, settings, remember or at_once)
    scope.require_fits()
    every = settings.trends.every
    fits = fits_of(warehouse, scope, remember)
    own = period_of(fits["day"], every)
    calendar = np.arange(own.min(), own.max() + 1)
    if is_other:
        settings = _base_in_time(settings, int(calendar[0]))
    pairs = noise.pairs_of(warehouse, scope, remember)
    tilt_noise = noise.own_noise("tilt", pairs, settings)
    outcomes = [
        *studio.measured(warehouse, scope, settings, tilt_noise, remember),
        *(one.if_recorded(scope.recorded) for one in _processes(fits)),
    ]
    charted = charts_of(outcomes, calendar, settings)
    signals = [(chart, signal) for chart in charted for signal in _signals(chart, every)]
    notes = notes_of(settings.trends, written)
    goals = goals_set(settings.goals, set_goals)
    trend = tuple(row for chart in charted for row in _trend_rows(chart, scope, every, notes, goals))
    return Trends(
        **scope.head(selection),
        method={**METHOD, "every": every, "false_alarm": settings.trends.false_alarm},
        **scope.counts,
        every=every,
        headline=headline_of(charted, every),
        trend=trend,
        charts=tuple(_chart_row(chart, every) for chart in charted),
        signals=tuple(signal for _, signal in signals),
        beside=tuple(_beside(settings, fits, pairs, names_of(warehouse, remember)["fitter"], signals)),
        notes=notes,
        goals=tuple(goal_rows(charted, trend, goals, today or scope.as_of or date.max, settings)),
    )


def _processes(fits: Rows) -> Iterator[Measured]:
    asked = fits["asks_booking"].astype(bool)
    booked, rider, day = fits["has_booked"].astype(float), fits["rider"], fits["day"]
    yield Measured("booked", "share", "fit", booked[asked], rider[asked], day[asked])
    yield Measured("repeat_capture", "share", "fit", fits["has_repeat"].astype(float), rider, day)
    yield Measured("captures_per_fit", "captures", "fit", fits["n_captures"].astype(float), rider, day)


def _trend_rows(
    chart: Charted, scope: Scope, every: str, noted: Sequence[NoteRow], goals: Mapping[str, Sequence[Goal]]
) -> Iterator[TrendRow]:
    series, measured = chart.series, chart.series.measured
    notes, since = {note.period: note.words for note in noted}, chart.since
    for at, period in enumerate(series.periods.tolist()):
        value, start = float(series.value[at]), first_day(period, every)
        has_limits = chart.limits is not None and np.isfinite(value)
        yield TrendRow(
            figure=measured.figure,
            unit=measured.unit,
            counted=measured.counted,
            period=start,
            n=int(series.n[at]),
            estimate=value if np.isfinite(value) else None,
            centre=chart.limits.centre if chart.limits else None,
            limit_low=float(chart.limits.low[at]) if chart.limits and has_limits else None,
            limit_high=float(chart.limits.high[at]) if chart.limits and has_limits else None,
            in_base=bool(series.base[at]),
            is_few=not np.isfinite(value),
            is_partial=scope.as_of is not None and first_day(period + 1, every) > scope.as_of,
            signals="step" if since[at] else "",
            note=notes.get(start, ""),
            n_riders=int(series.n_riders[at]),
            goal=value_in_force(goals.get(measured.figure, ()), period, every),
        )


def _signals(chart: Charted, every: str) -> Iterator[SignalRow]:
    """The step of a figure that moved, told from the first period after it to the last."""
    if not chart.has_moved or chart.step is None or chart.limits is None:
        return
    series, step = chart.series, chart.step
    since = series.periods[chart.since]
    yield SignalRow(
        figure=series.measured.figure,
        unit=series.measured.unit,
        rule="step",
        direction="higher" if step.after > step.before else "lower",
        period_from=first_day(int(since[0]), every),
        period_to=first_day(int(since[-1]), every),
        n_periods=len(since),
        mean=step.after,
        before=step.before,
        centre=chart.limits.centre,
        words=_step_words(chart, every),
    )


def _step_words(chart: Charted, every: str) -> str:
    """Says a step in words, as in: Knees better: 61 % from about May 2026 on, 74 % before."""
    measured, step = chart.series.measured, chart.step
    assert step is not None
    after, before = _written(step.after, measured.unit), _written(step.before, measured.unit)
    start = first_day(step.first, every)
    return f"{NAMES[measured.figure]}: {after} from about {_span(start, start, every)} on, {before} before."


def _span(first: date, last: date, every: str) -> str:
    """Writes the time from one period to another, as in: May 2026 to July 2026; the week of 4 May 2026."""
    the = "the " if every == "week" else ""
    ends = (f"{the}{spoken_period(day, every)}" for day in (first, last))
    return " to ".join(dict.fromkeys(ends))


def _chart_row(chart: Charted, every: str) -> ChartRow:
    series, name = chart.series, NAMES[chart.series.measured.figure]
    inside = [first_day(int(period), every) for period in series.periods[series.base]]
    row = ChartRow(
        figure=series.measured.figure,
        unit=series.measured.unit,
        chart="p" if series.measured.unit == "share" else "xmr",
        base_from=min(inside, default=None),
        base_to=max(inside, default=None),
        n_base=len(inside),
        centre=None,
        design_effect=chart.design_effect,
        n_signals=0,
        words=f"{name}: {chart.reason}",
    )
    if chart.limits is None:
        return row
    movement = "moved by more than its usual scatter" if chart.has_moved else "not found to move beyond its usual scatter"
    centre = _written(chart.limits.centre, series.measured.unit)
    base = f"{counted(len(inside), every)}, {_span(inside[0], inside[-1], every)}"
    words = f"{name}: {movement}. The centre of {centre} is what was usual in {base}. Each {every} is compared with it."
    p_value = chart.step.p_value if chart.step else None
    return replace(
        row,
        centre=chart.limits.centre,
        n_signals=int(chart.has_moved),
        p_value=p_value,
        q_value=chart.q_value,
        words=words,
    )


def _beside(
    settings: Settings,
    fits: Rows,
    pairs: Mapping[str, NDArray[Any]],
    fitters: list[str],
    signals: list[tuple[Charted, SignalRow]],
) -> Iterator[BesideRow]:
    every, beside = settings.trends.every, Beside(fits, pairs, fitters, settings)
    for chart, signal in signals:
        days = np.array([signal.period_from, signal.period_to], "datetime64[D]")
        first, last = period_of(days, every).tolist()
        base = chart.series.periods[chart.series.base]
        yield from beside.rows(signal, base, np.arange(first, last + 1))


def headline_of(charted: list[Charted], every: str) -> str:
    """How many figures moved, and the one that moved most clearly."""
    with_limits = sum(chart.limits is not None for chart in charted)
    if with_limits == 0:
        return f"Not enough yet: no figure has a base period of {every}s to compare with."
    moved = [chart for chart in charted if chart.has_moved]
    if not moved:
        return f"None of {with_limits} figures was found to move by more than its usual scatter."
    clearest = min(moved, key=lambda chart: chart.step.p_value if chart.step else 1.0)
    return f"{len(moved)} of {with_limits} figures moved by more than their usual scatter. {_step_words(clearest, every)}"


def _written(value: float, unit: str) -> str:
    return spoken_percent(value) if unit == "share" else spoken(value, 1, "points" if unit == "points" else "")

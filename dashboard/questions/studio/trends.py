"""How the headline figures move: each on a control chart whose limits are frozen from a base period, with its signals."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date
from itertools import pairwise
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
from dashboard.questions.studio.trends_fits import fits_of, riders_at
from shared.errors import StatisticsError, UsageError
from shared.settings import Settings
from shared.settings import Trends as TrendSettings
from shared.statistics.clustered.means import clustered_share
from shared.statistics.control_charts import Limits, one_side, outside, p_limits, steady, xmr_limits
from shared.warehouse import Warehouse

Array = NDArray[np.float64]
Ints = NDArray[np.int64]
Mask = NDArray[np.bool_]
Rows = dict[str, NDArray[Any]]

# Days of a period, on average over the years.
_DAYS = {"week": 7.0, "month": 365.25 / 12, "quarter": 365.25 / 4}

METHOD = {
    "means": "individuals chart: mean +- 2.66 mean moving range of the base period (NIST/SEMATECH 6.3.2.2)",
    "shares": "p chart: p +- 3 sqrt(p (1 - p) / n), n divided by the base period's design effect (rows of one rider)",
    "signals": "outside_limits; one_side: a run on one side of the centre; steady: a run of rises or of falls",
    "gaps": "a period with too few rows has no figure; no run and no moving range reaches over it",
    "repeats": "a chart of several figures with three rules gives a false signal now and then: look, then ask what changed",
}


@dataclass(frozen=True)
class _Series:
    """One figure in every period of the calendar, shape (periods,): counts, sums, and the figure (NaN: none)."""

    measured: studio.Measured
    periods: Ints
    n: Array
    total: Array
    value: Array
    base: Mask
    n_riders: Ints


@dataclass(frozen=True)
class _Charted:
    """A series with its limits (None where it has none, with the reason) and its signals by rule."""

    series: _Series
    limits: Limits | None
    design_effect: float | None
    reason: str
    signals: dict[str, Mask]


def ask(
    warehouse: Warehouse,
    selection: Selection,
    settings: Settings,
    every: tuple[str, ...] = (),
    remember: Remember | None = None,
) -> Trends:
    """The trend of each headline figure with limits and signals, and what changed beside each signal.

    every: one of EVERY, the periods asked for; none: those of the settings. Raises UsageError for another word.
    """
    told_by = _told_by(settings, every)
    return _by_period(warehouse, selection, told_by, remember, is_other=told_by is not settings)


def _told_by(settings: Settings, every: tuple[str, ...]) -> Settings:
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
    warehouse: Warehouse, selection: Selection, settings: Settings, remember: Remember | None, *, is_other: bool
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
    tilt_noise = noise.row_of("tilt", pairs, settings)
    outcomes = [*studio.measured(warehouse, scope, settings, tilt_noise, remember), *_processes(fits)]
    charted = [_charted(_series(outcome, calendar, settings), settings) for outcome in outcomes]
    signals = [(chart, signal) for chart in charted for signal in _signals(chart, settings)]
    return Trends(
        as_of=scope.as_of,
        selection=selection.as_dict(),
        selection_words=scope.words,
        method={**METHOD, "every": every, "run_length": settings.trends.run_length},
        n_fits=scope.n_fits,
        n_riders=scope.n_riders,
        every=every,
        headline=_headline(charted, [signal for _, signal in signals], every),
        trend=tuple(row for chart in charted for row in _rows(chart, scope, settings.trends)),
        charts=tuple(_chart_row(chart, every) for chart in charted),
        signals=tuple(signal for _, signal in signals),
        beside=tuple(_beside(settings, fits, pairs, names_of(warehouse, remember)["fitter"], signals)),
        notes=tuple(_notes(settings.trends)),
    )


def _processes(fits: Rows) -> Iterator[studio.Measured]:
    asked = fits["asks_booking"].astype(bool)
    booked, rider, day = fits["has_booked"].astype(float), fits["rider"], fits["day"]
    yield studio.Measured("booked", "share", "fit", booked[asked], rider[asked], day[asked])
    yield studio.Measured("repeat_capture", "share", "fit", fits["has_repeat"].astype(float), rider, day)
    yield studio.Measured("captures_per_fit", "captures", "fit", fits["n_captures"].astype(float), rider, day)


def _series(measured: studio.Measured, calendar: Ints, settings: Settings) -> _Series:
    at = period_of(measured.day, settings.trends.every) - calendar[0]
    n = np.bincount(at, minlength=len(calendar)).astype(float)
    total = np.bincount(at, weights=measured.values, minlength=len(calendar)).astype(float)
    enough = n >= settings.minimum.rows_shown
    value = np.where(enough, total / np.maximum(n, 1), np.nan)
    base, n_riders = _base(calendar, enough, settings.trends), riders_at(at, measured.rider, n)
    return _Series(measured, calendar, n, total, value, base, n_riders)


def _base(calendar: Ints, enough: Mask, trends: TrendSettings) -> Mask:
    """The periods with a figure that the limits are frozen from."""
    if trends.base_from is None and trends.base_to is None:
        return np.asarray(enough & (np.cumsum(enough) <= trends.base_periods))
    inside = np.ones(len(calendar), dtype=bool)
    if trends.base_from is not None:
        inside &= calendar >= period_of(np.array([trends.base_from], "datetime64[D]"), trends.every)
    if trends.base_to is not None:
        inside &= calendar <= period_of(np.array([trends.base_to], "datetime64[D]"), trends.every)
    return enough & inside


def _charted(series: _Series, settings: Settings) -> _Charted:
    """Limits from the base period, then the three rules; no limits and no signals where the base is too short."""
    trends, n_base = settings.trends, int(series.base.sum())
    none = {rule: np.zeros(len(series.value), dtype=bool) for rule in ("outside_limits", "one_side", "steady")}
    if n_base < trends.base_minimum:
        reason = (
            series.measured.refusal
            or f"not enough yet, {n_base} of the {trends.base_minimum} {trends.every}s that a base needs."
        )
        return _Charted(series, None, None, reason, none)
    try:
        effect, limits = _limits(series, settings)
    except StatisticsError as refused:
        return _Charted(series, None, None, str(refused), none)
    signals = {
        "outside_limits": outside(series.value, limits.low, limits.high),
        "one_side": one_side(series.value, limits.centre, trends.run_length),
        "steady": steady(series.value, trends.steady_length),
    }
    return _Charted(series, limits, effect, "", signals)


def _limits(series: _Series, settings: Settings) -> tuple[float | None, Limits]:
    if series.measured.unit != "share":
        return None, xmr_limits(series.value, series.base)
    at = period_of(series.measured.day, settings.trends.every) - series.periods[0]
    inside = series.base[at]
    found = clustered_share(series.measured.values[inside], series.measured.rider[inside], settings.intervals.level)
    effect = found.n / found.n_effective if found.n_clusters < found.n else 1.0
    n = np.where(np.isfinite(series.value), series.n, 0.0)
    return effect, p_limits(series.total, n, series.base, effect)


def _rows(chart: _Charted, scope: Scope, trends: TrendSettings) -> Iterator[TrendRow]:
    series, measured = chart.series, chart.series.measured
    notes = {note.period: note.words for note in _notes(trends)}
    for at, period in enumerate(series.periods.tolist()):
        value, start = float(series.value[at]), first_day(period, trends.every)
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
            is_partial=scope.as_of is not None and first_day(period + 1, trends.every) > scope.as_of,
            signals=",".join(rule for rule, mask in chart.signals.items() if mask[at]),
            note=notes.get(start, ""),
            n_riders=int(series.n_riders[at]),
        )


def _signals(chart: _Charted, settings: Settings) -> Iterator[SignalRow]:
    """Signals that carry on from period to period are one; a run is told from its first period."""
    if chart.limits is None:
        return
    series, centre, every = chart.series, chart.limits.centre, settings.trends.every
    before = {"outside_limits": 0, "one_side": settings.trends.run_length - 1, "steady": settings.trends.steady_length - 1}
    for rule, mask in chart.signals.items():
        sign = _direction(series.value, centre, rule) * mask
        edges = np.flatnonzero(np.diff(np.concatenate([[0.0], sign, [0.0]])))
        for start, end in pairwise(edges.tolist()):
            if not sign[start]:
                continue
            first, last = start - before[rule], end - 1
            mean = float(series.value[first : last + 1].mean())
            upward = sign[start] > 0
            direction = ("rising" if upward else "falling") if rule == "steady" else "above" if upward else "below"
            days = (first_day(int(series.periods[first]), every), first_day(int(series.periods[last]), every))
            row = SignalRow(
                series.measured.figure, series.measured.unit, rule, direction, *days, last - first + 1, mean, centre, words=""
            )
            yield replace(row, words=_signal_words(row, every))


def _direction(value: Array, centre: float, rule: str) -> Array:
    """+1 above or rising, -1 below or falling, for each period."""
    if rule == "steady":
        return np.sign(np.nan_to_num(np.diff(value, prepend=value[:1])))
    return np.sign(np.nan_to_num(value - centre))


def _signal_words(row: SignalRow, every: str) -> str:
    name, mean, centre = NAMES[row.figure], _written(row.mean, row.unit), _written(row.centre, row.unit)
    is_one, when = row.period_from == row.period_to, _span(row.period_from, row.period_to, every)
    if row.rule == "outside_limits":
        limit = "upper" if row.direction == "above" else "lower"
        return f"{name}: beyond the {limit} limit {'in' if is_one else 'from'} {when} ({mean}; centre {centre})."
    if row.rule == "one_side":
        run = f"{row.n_periods} {every}s in a row {row.direction} the centre"
        return f"{name}: {run}, {when} ({mean} on average; centre {centre})."
    return f"{name}: {row.direction} for {row.n_periods} {every}s in a row, {when}."


def _span(first: date, last: date, every: str) -> str:
    """As in: May 2026 to July 2026; the week of 4 May 2026."""
    the = "the " if every == "week" else ""
    ends = (f"{the}{spoken_period(day, every)}" for day in (first, last))
    return " to ".join(dict.fromkeys(ends))


def _chart_row(chart: _Charted, every: str) -> ChartRow:
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
    n_signals = sum(int((np.diff(np.concatenate([[0], mask.astype(int)])) == 1).sum()) for mask in chart.signals.values())
    told = counted(n_signals, "signal") if n_signals else "no signal"
    centre = _written(chart.limits.centre, series.measured.unit)
    base = f"{counted(len(inside), every)}, {_span(inside[0], inside[-1], every)}"
    words = f"{name}: {told}. The centre of {centre} is what was usual in {base}. Each {every} is compared with it."
    return replace(row, centre=chart.limits.centre, n_signals=n_signals, words=words)


def _beside(
    settings: Settings,
    fits: Rows,
    pairs: Mapping[str, NDArray[Any]],
    fitters: list[str],
    signals: list[tuple[_Charted, SignalRow]],
) -> Iterator[BesideRow]:
    every, beside = settings.trends.every, Beside(fits, pairs, fitters, settings)
    for chart, signal in signals:
        days = np.array([signal.period_from, signal.period_to], "datetime64[D]")
        first, last = period_of(days, every).tolist()
        base = chart.series.periods[chart.series.base]
        yield from beside.rows(signal, base, np.arange(first, last + 1))


def _notes(trends: TrendSettings) -> Iterator[NoteRow]:
    for note in trends.notes:
        period = int(period_of(np.array([note.on], "datetime64[D]"), trends.every)[0])
        yield NoteRow(note.on, first_day(period, trends.every), note.words)


def _headline(charted: list[_Charted], signals: list[SignalRow], every: str) -> str:
    """How many figures show a signal, and the one that lasts longest."""
    with_limits = sum(chart.limits is not None for chart in charted)
    if with_limits == 0:
        return f"Not enough yet: no figure has a base period of {every}s to compare with."
    moving = {signal.figure for signal in signals}
    if not moving:
        return f"None of {with_limits} figures moved by more than its usual scatter."
    longest = max(signals, key=lambda signal: (signal.n_periods, signal.period_to))
    return f"{len(moving)} of {with_limits} figures moved by more than their usual scatter. {longest.words}"


def _written(value: float, unit: str) -> str:
    return spoken_percent(value) if unit == "share" else spoken(value, 1, "points" if unit == "points" else "")


NAMES = {
    "knees_better": "Knees better",
    "side_difference_left": "Side differences left",
    "return_rate": "Riders who came back",
    "comfort_gained": "Comfort gained",
    "booked": "Follow-ups booked",
    "repeat_capture": "Repeat captures taken",
    "captures_per_fit": "Captures a fit",
}

"""Each figure on its control chart: periods, base, limits, and whether it has moved since the base."""

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from dashboard.questions.selection.calendar import period_of
from dashboard.questions.studio.studio import Measured
from dashboard.questions.studio.trends_fits import riders_at
from shared.errors import StatisticsError
from shared.settings import Settings
from shared.settings import Trends as TrendSettings
from shared.statistics.change_point import Step, largest_step
from shared.statistics.clustered.means import clustered_share, small_codes
from shared.statistics.control_charts import Limits, p_limits, xmr_limits
from shared.statistics.multiplicity import benjamini_hochberg

Array = NDArray[np.float64]
Ints = NDArray[np.int64]
Mask = NDArray[np.bool_]


@dataclass(frozen=True)
class Series:
    """One figure in every period of the calendar, shape (periods,): counts, sums, and the figure (NaN: none)."""

    measured: Measured
    periods: Ints
    n: Array
    total: Array
    value: Array
    base: Mask
    n_riders: Ints


@dataclass(frozen=True)
class Charted:
    """A series with its limits (None where it has none, with the reason) and its largest step (None where there is none)."""

    series: Series
    limits: Limits | None
    design_effect: float | None
    reason: str
    step: Step | None = None
    q_value: float | None = None
    has_moved: bool = False

    @property
    def since(self) -> Mask:
        """The periods from the step on, where the figure moved."""
        first = self.step.first if self.step and self.has_moved else np.inf
        return np.asarray((self.series.periods >= first) & np.isfinite(self.series.value))


def _series(measured: Measured, calendar: Ints, settings: Settings) -> Series:
    at = period_of(measured.day, settings.trends.every) - calendar[0]
    n = np.bincount(at, minlength=len(calendar)).astype(float)
    total = np.bincount(at, weights=measured.values, minlength=len(calendar)).astype(float)
    enough = n >= settings.minimum.rows_shown
    value = np.where(enough, total / np.maximum(n, 1), np.nan)
    base, n_riders = _base(calendar, enough, settings.trends), riders_at(at, measured.rider, n)
    return Series(measured, calendar, n, total, value, base, n_riders)


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


def charts_of(outcomes: Iterable[Measured], calendar: Ints, settings: Settings) -> list[Charted]:
    """Each figure charted over the calendar, and which of them moved: those whose q-value is below the false alarm."""
    charted = [_charted(_series(outcome, calendar, settings), settings) for outcome in outcomes]
    q_values = iter(benjamini_hochberg([chart.step.p_value for chart in charted if chart.step]))
    judged = [replace(chart, q_value=next(q_values)) if chart.step else chart for chart in charted]
    told = settings.trends.false_alarm
    return [replace(chart, has_moved=chart.q_value is not None and chart.q_value < told) for chart in judged]


def _charted(series: Series, settings: Settings) -> Charted:
    """Limits from the base period, and the largest step after it; neither where the base is too short."""
    trends, n_base = settings.trends, int(series.base.sum())
    if n_base < trends.base_minimum:
        reason = (
            series.measured.refusal
            or f"not enough yet, {n_base} of the {trends.base_minimum} {trends.every}s that a base needs."
        )
        return Charted(series, None, None, reason)
    try:
        effect, limits = _limits(series, settings)
    except StatisticsError as refused:
        return Charted(series, None, None, str(refused))
    try:
        return Charted(series, limits, effect, "", _step(series, settings))
    except StatisticsError:
        return Charted(series, limits, effect, "")


def _step(series: Series, settings: Settings) -> Step:
    """The largest step after the base, among the periods with a figure from the base's first one on."""
    measured, from_base = series.measured, np.flatnonzero(series.base)[0]
    has_figure = np.isfinite(series.value) & (np.arange(len(series.value)) >= from_base)
    n_before = int(has_figure[: np.flatnonzero(series.base)[-1] + 1].sum())
    period = period_of(measured.day, settings.trends.every)
    used = has_figure[period - series.periods[0]]
    return largest_step(
        measured.values[used],
        period[used],
        small_codes(measured.rider[used]),
        n_before,
        is_share=measured.unit == "share",
        wanted=settings.trends.false_alarm,
    )


def _limits(series: Series, settings: Settings) -> tuple[float | None, Limits]:
    if series.measured.unit != "share":
        return None, xmr_limits(series.value, series.base)
    at = period_of(series.measured.day, settings.trends.every) - series.periods[0]
    inside = series.base[at]
    found = clustered_share(series.measured.values[inside], series.measured.rider[inside], settings.intervals.level)
    effect = found.n / found.n_effective if found.n_clusters < found.n else 1.0
    n = np.where(np.isfinite(series.value), series.n, 0.0)
    return effect, p_limits(series.total, n, series.base, effect)

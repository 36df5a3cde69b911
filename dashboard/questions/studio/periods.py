"""Is it getting better: a period's headline figures beside the period before and the same period a year before."""

from calendar import monthrange
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from dashboard.questions.data import noise
from dashboard.questions.memory.side_by_side import side_by_side
from dashboard.questions.selection.every_fit import Remember, at_once
from dashboard.questions.selection.levels import count_riders
from dashboard.questions.selection.numbers import spoken, spoken_points
from dashboard.questions.selection.scope import counted, scope_of
from dashboard.questions.selection.selection import Selection
from dashboard.questions.studio.answers_periods import PeriodChangeRow, PeriodRow, Periods
from dashboard.questions.studio.studio import Measured, estimate_of, measured
from shared.errors import NotEstimableError, TooFewError
from shared.rig.care import Watched, care, concerning
from shared.settings import Settings
from shared.statistics.group_difference import adjusted_difference
from shared.statistics.multiplicity import in_family
from shared.statistics.told import direction
from shared.warehouse import Warehouse

Flags = NDArray[np.bool_]

METHOD = {
    "periods": "the period before has as many months, or days where it is no whole months; the year before, the same dates",
    "limits": "every period is measured by this one's smallest real change (MDC95), so that one yardstick serves all",
    "difference": "this period less the earlier one, least squares with CR2 by rider, since a rider may be in both",
    "q_value": "Benjamini-Hochberg over all comparisons; told where the interval leaves out zero and q is small",
    "return_rate": "an open window is left out in every period",
}
_NAMES = {
    "knees_better": "Knees better at departure",
    "side_difference_left": "Fits with a side difference left",
    "return_rate": "Fits seen again in time",
    "comfort_gained": "Comfort gained",
}
_AGAINST = {"before": "the period before", "year_before": "the same period a year before"}


@dataclass(frozen=True)
class Span:
    """Days from the first to the last, both included."""

    first: date
    last: date

    def holds(self, days: NDArray[np.datetime64]) -> NDArray[np.bool_]:
        return (days >= np.datetime64(self.first)) & (days <= np.datetime64(self.last))


def span_before(span: Span) -> Span:
    """The span of the same length that ends the day before: whole months by months, others by days."""
    last = span.first - timedelta(days=1)
    if span.first.day == 1 and span.last.day == monthrange(span.last.year, span.last.month)[1]:
        months = 12 * (span.last.year - span.first.year) + span.last.month - span.first.month + 1
        start = 12 * span.first.year + span.first.month - 1 - months
        return Span(date(start // 12, start % 12 + 1, 1), last)
    return Span(last - (span.last - span.first), last)


def span_a_year_before(span: Span) -> Span:
    """The same dates a year before; the end of February stays the end of February."""
    return Span(_a_year_before(span.first), _a_year_before(span.last))


def _a_year_before(day: date) -> date:
    last_day = monthrange(day.year - 1, day.month)[1]
    is_end = day.day == monthrange(day.year, day.month)[1] and day.month == 2
    return date(day.year - 1, day.month, last_day if is_end else min(day.day, last_day))


def ask(
    warehouse: Warehouse,
    selection: Selection,
    settings: Settings,
    remember: Remember | None = None,
    rig: Watched | None = None,
) -> Periods:
    """The figures of the selection's dates; without both dates, those from the first to the last fit's day.

    rig: what is found of the rigs; a day between the periods from which one measures otherwise stands in the headline. Raises
    TooFewError where the selection is empty, or has neither dates nor figures.
    """
    scope = scope_of(warehouse, selection, settings, remember or at_once)
    scope.require_fits()
    tilt_noise = noise.own_noise("tilt", noise.pairs_of(warehouse, scope, remember), settings)
    # As `studio` measures them, so that this period's figures are its own to the last digit.
    present = {one.figure: one for one in measured(warehouse, scope, settings, tilt_noise, remember)}
    whole = scope_of(warehouse, replace(selection, date_from=None, date_to=None), settings, remember or at_once)
    everything = list(measured(warehouse, whole, settings, tilt_noise, remember))
    this = _this_span(everything, selection)
    spans = {"this": this, "before": span_before(this), "year_before": span_a_year_before(this)}
    compared = [each for one in everything for each in _compared(one, spans)]
    with_care = care(concerning(rig, selection.studio), spans["year_before"].first, this.last)
    changes = tuple(_told(side_by_side(lambda each: _change(*each, settings), compared, len(everything[0].day))))
    return Periods(
        as_of=scope.as_of,
        selection=selection.as_dict(),
        selection_words=scope.words,
        method={**METHOD, "level": settings.intervals.level},
        n_fits=scope.n_fits,
        n_riders=scope.n_riders,
        headline=" ".join(filter(None, (_headline(changes), with_care))),
        periods=tuple(row for one in everything for row in _rows(one, present[one.figure], spans, settings)),
        changes=changes,
    )


def _this_span(everything: list[Measured], selection: Selection) -> Span:
    days = np.concatenate([one.day.astype("datetime64[D]") for one in everything])
    if selection.date_from and selection.date_to:
        return Span(selection.date_from, selection.date_to)
    if len(days) == 0:
        raise TooFewError("Not enough yet: no fit of this selection has a figure, so that there is no period to compare.")
    return Span(selection.date_from or days.min().astype(object), selection.date_to or days.max().astype(object))


def _rows(one: Measured, present: Measured, spans: dict[str, Span], settings: Settings) -> Iterator[PeriodRow]:
    for which, span in spans.items():
        source = present if which == "this" else one
        inside = span.holds(source.day.astype("datetime64[D]"))
        found = estimate_of(source.values[inside], source.rider[inside], one.unit, settings)
        figures = (found.estimate, found.low, found.high) if found else (None, None, None)
        n, n_riders = int(inside.sum()), count_riders(source.rider[inside])
        row = PeriodRow(one.figure, which, span.first, span.last, one.unit, one.counted, n, *figures)
        yield replace(row, n_riders=n_riders)


def _compared(one: Measured, spans: dict[str, Span]) -> Iterator[tuple[Measured, Flags, Flags, str]]:
    """One figure with the rows of this period, those of an earlier one, and which that is."""
    days = one.day.astype("datetime64[D]")
    here = spans["this"].holds(days)
    for against in _AGAINST:
        yield one, here, spans[against].holds(days) & ~here, against


def _change(one: Measured, here: Flags, there: Flags, against: str, settings: Settings) -> PeriodChangeRow:
    words = _AGAINST[against]
    n_this, n_against = int(here.sum()), int(there.sum())
    riders = (count_riders(one.rider[here]), count_riders(one.rider[there]))
    row = PeriodChangeRow(one.figure, against, one.unit, n_this, n_against, None, None, None, "", *riders)
    name = _NAMES[one.figure]
    if min(n_this, n_against) < settings.minimum.rows_shown:
        numbers = f"{counted(n_this, one.counted)} now, {counted(n_against, one.counted)} then"
        return replace(row, words=f"{name}: not enough yet to compare with {words} ({numbers}).")
    both = here | there
    try:
        found = adjusted_difference(
            one.values[both], here[both], np.empty((int(both.sum()), 0)), one.rider[both], settings.intervals.level
        )
    except (TooFewError, NotEstimableError) as refusal:
        return replace(row, words=f"{name} beside {words}: {refusal}")
    return replace(row, difference=found.estimate, low=found.low, high=found.high, p_value=found.p_value, words=one.counted)


def _told(rows: Sequence[PeriodChangeRow]) -> Iterator[PeriodChangeRow]:
    """The rows of one family with their q-values and sentences."""
    q_values = in_family([row.p_value for row in rows])
    for each, q_value in zip(rows, q_values, strict=True):
        row = replace(each, q_value=q_value)
        if row.difference is None:
            yield row
            continue
        written = spoken_points if row.unit == "share" else (lambda value: spoken(value, 1, "points"))
        ends = f"{written(row.low or 0).removesuffix('points').strip()} to {written(row.high or 0)}"
        against, n = _AGAINST[row.against], f"{row.n_this:,} and {row.n_against:,} {row.words}s"
        yield replace(
            row, words=f"{_NAMES[row.figure]}: {written(row.difference)} against {against}, {row.told} ({ends}; {n})."
        )


def _headline(changes: tuple[PeriodChangeRow, ...]) -> str:
    """What changed clearly against the period before; else that nothing did."""
    told = [row for row in changes if row.difference is not None]
    if not told:
        return "There is not enough yet to compare this period with an earlier one."
    clear = [row for row in told if direction(row.low, row.high, row.q_value)]
    return clear[0].words if clear else f"None of the {len(told)} comparisons with earlier periods shows a clear change."

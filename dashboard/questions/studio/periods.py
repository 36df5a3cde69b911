"""How was the period: its headline figures beside the period before and the same period a year before."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import date

import numpy as np
from numpy.typing import NDArray

from dashboard.questions.data import noise
from dashboard.questions.memory.side_by_side import side_by_side
from dashboard.questions.selection.every_fit import Remember, at_once
from dashboard.questions.selection.levels import count_riders
from dashboard.questions.selection.scope import Scope, scope_of, spoken_day
from dashboard.questions.selection.selection import Selection
from dashboard.questions.selection.spans import Span, last_month, span_a_year_before, span_before
from dashboard.questions.studio.answers_periods import KneesRow, PeriodChangeRow, PeriodRow, Periods
from dashboard.questions.studio.differences import difference_of
from dashboard.questions.studio.headline_figures import NAMES, NOT_RECORDED, judged
from dashboard.questions.studio.period_words import change_words, few_words, headline_of
from dashboard.questions.studio.studio import KNEE_OUTCOMES, Measured, estimate_of, measured
from shared.errors import NotEstimableError, TooFewError
from shared.rig.care import Watched, care, concerning
from shared.settings import Settings
from shared.statistics.multiplicity import in_family
from shared.statistics.told import direction
from shared.warehouse import Warehouse

Flags = NDArray[np.bool_]
Spans = Mapping[str, Span]

METHOD = {
    "periods": "without dates the last full month by today's calendar; the period before has as many months, or days where it "
    "is no whole months; the year before, the same dates",
    "limits": "every period is measured by this one's smallest real change (MDC95), so that one yardstick serves all",
    "difference": "this period less the earlier one, least squares with CR2 by rider, since a rider may be in both",
    "q_value": "Benjamini-Hochberg over all comparisons; told where the interval leaves out zero and q is small",
    "return_rate": "an open window is left out in every period",
    "knees": "better and worse are by more than MDC95; the three shares add up to all knees measured at both ends",
}
_AGAINST = ("before", "year_before")


def ask(
    warehouse: Warehouse,
    selection: Selection,
    settings: Settings,
    remember: Remember | None = None,
    rig: Watched | None = None,
    today: date | None = None,
) -> Periods:
    """The figures of the selection's dates; without dates, of the last full month before `today`.

    Where one end is left open, the data's own is taken. rig: what is found of the rigs; a day between the periods from which
    one measures otherwise stands in the headline. Raises TooFewError where the period is empty.
    """
    has_dates = bool(selection.date_from or selection.date_to)
    chosen = selection if has_dates or today is None else _dated(selection, last_month(today))
    scope = scope_of(warehouse, chosen, settings, remember or at_once)
    if not scope.n_fits and chosen is not selection and chosen.date_from:
        reach = f" The data reach to {spoken_day(scope.as_of)}." if scope.as_of else ""
        raise TooFewError(
            f"No fit in {chosen.date_from:%B %Y}, the last full month by today's calendar.{reach} Choose other dates."
        )
    scope.require_fits()
    tilt_noise = noise.own_noise("tilt", noise.pairs_of(warehouse, scope, remember), settings)
    # As `studio` measures them, so that this period's figures are its own to the last digit.
    present = {one.figure: one for one in measured(warehouse, scope, settings, tilt_noise, remember)}
    whole = scope_of(warehouse, replace(chosen, date_from=None, date_to=None), settings, remember or at_once)
    everything = list(measured(warehouse, whole, settings, tilt_noise, remember))
    this = _this_span(everything, chosen, scope)
    spans = {"this": this, "before": span_before(this), "year_before": span_a_year_before(this)}
    rows = tuple(row for one in everything for row in _period_rows(one, present[one.figure], spans, settings))
    estimates = {(row.figure, row.which): row.estimate for row in rows}
    compared = [(one, against) for one in everything for against in _AGAINST]
    changes = side_by_side(lambda each: _change(*each, spans, estimates, settings), compared, len(everything[0].day))
    told = tuple(_judged(changes, spans))
    with_care = care(concerning(rig, chosen.studio), spans["year_before"].first, this.last)
    return Periods(
        **scope.head(chosen),
        method={**METHOD, "level": settings.intervals.level},
        **scope.counts,
        headline=" ".join(filter(None, (headline_of(told, spans), with_care))),
        periods=rows,
        changes=told,
        knees=tuple(_knees(present["knees_better"], everything, spans, settings)),
        is_last_month=today is not None and this == last_month(today),
    )


def _dated(selection: Selection, span: Span) -> Selection:
    return replace(selection, date_from=span.first, date_to=span.last)


def _this_span(everything: Sequence[Measured], selection: Selection, scope: Scope) -> Span:
    """The selection's dates, an open end closed by the data's own."""
    days = np.concatenate([one.day.astype("datetime64[D]") for one in everything])
    first = selection.date_from or (days.min().astype(object) if len(days) else None)
    last = selection.date_to or scope.as_of
    if first is None or last is None:
        raise TooFewError("Not enough yet: no fit of this selection has a figure, so that there is no period to compare.")
    return Span(first, last)


def _period_rows(one: Measured, present: Measured, spans: Spans, settings: Settings) -> Iterator[PeriodRow]:
    for which, span in spans.items():
        source = present if which == "this" else one
        inside = span.holds(source.day.astype("datetime64[D]"))
        estimate = estimate_of(source.values[inside], source.rider[inside], one.unit, settings)
        figures = (estimate.estimate, estimate.low, estimate.high) if estimate else (None, None, None)
        n, n_riders = int(inside.sum()), count_riders(source.rider[inside])
        row = PeriodRow(one.figure, which, span.first, span.last, one.unit, one.counted, n, *figures)
        yield replace(row, n_riders=n_riders)


def _knees(present: Measured, everything: Sequence[Measured], spans: Spans, settings: Settings) -> Iterator[KneesRow]:
    """Better, no clear change and worse together, in each period; none where no smallest real change is known."""
    whole = next(one for one in everything if one.figure == "knees_better")
    for which, span in spans.items():
        source = present if which == "this" else whole
        inside = span.holds(source.day.astype("datetime64[D]"))
        for outcome in KNEE_OUTCOMES:
            hits = source.hits(outcome)[inside]
            share = estimate_of(hits, source.rider[inside], "share", settings)
            figures = (share.estimate, share.low, share.high) if share else (None, None, None)
            row = KneesRow(which, outcome, int(inside.sum()), int(hits.sum()), *figures)
            yield replace(row, n_riders=count_riders(source.rider[inside]))


def _change(
    one: Measured, against: str, spans: Spans, estimates: Mapping[tuple[str, str], float | None], settings: Settings
) -> PeriodChangeRow:
    days = one.day.astype("datetime64[D]")
    here = spans["this"].holds(days)
    there = spans[against].holds(days) & ~here
    n_this, n_against = int(here.sum()), int(there.sum())
    riders = (count_riders(one.rider[here]), count_riders(one.rider[there]))
    levels = (estimates[one.figure, "this"], estimates[one.figure, against])
    row = PeriodChangeRow(one.figure, against, one.unit, n_this, n_against, *levels, None, None, None, "", *riders)
    if one.refusal:
        judged_as = row.judged if one.is_recorded else NOT_RECORDED
        return replace(row, words=f"{NAMES[one.figure]}: {one.refusal}", judged=judged_as)
    try:
        difference = difference_of(one, here, there, settings)
    except (TooFewError, NotEstimableError) as refusal:
        return replace(row, words=few_words(row, one.counted, spans, str(refusal)))
    return replace(
        row,
        difference=difference.estimate,
        low=difference.low,
        high=difference.high,
        p_value=difference.p_value,
        words=one.counted,
    )


def _judged(rows: Sequence[PeriodChangeRow], spans: Spans) -> Iterator[PeriodChangeRow]:
    """The rows of one family with their q-values, what may be said of them, and their sentences."""
    q_values = in_family([row.p_value for row in rows])
    for each, q_value in zip(rows, q_values, strict=True):
        row = replace(each, q_value=q_value)
        if row.difference is None:
            yield row
            continue
        row = replace(row, judged=judged(row.figure, direction(row.low, row.high, q_value)))
        yield replace(row, words=change_words(row, spans))

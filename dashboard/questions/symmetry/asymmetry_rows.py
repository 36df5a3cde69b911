"""Rows and sentences of the asymmetry answer."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dashboard.questions.selection.levels import count_riders, level_words
from dashboard.questions.selection.numbers import spoken, spoken_percent, spoken_percents, spoken_points
from dashboard.questions.selection.scope import counted
from dashboard.questions.symmetry.answers_asymmetry import ChangeRow, CurveRow, DifferenceRow, PrevalenceRow, RepeatRow
from dashboard.questions.symmetry.both_sides import side_difference
from dashboard.questions.symmetry.knee_patterns import Knees, has_pattern, numbered, patterns
from shared.settings import Settings
from shared.statistics.clustered.means import clustered_mean, clustered_share
from shared.statistics.multiplicity import benjamini_hochberg
from shared.statistics.paired_shares import PairedShares, paired_change
from shared.statistics.proportions import share_difference, wilson_interval
from shared.units import UNITS

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

MOMENTS = ("arrival", "departure")


@dataclass(frozen=True)
class Quantity:
    """One outcome whose sides are compared; without `limit_key` there is no limit beyond which a difference counts."""

    name: str
    unit: str
    limit_key: str | None
    includes_limit: bool
    curve: tuple[float, float, float]

    def limit(self, settings: Settings) -> float:
        return float(getattr(settings.knee, self.limit_key or ""))

    def limit_words(self, settings: Settings) -> str:
        size = spoken(self.limit(settings), 0 if self.limit(settings).is_integer() else 1, UNITS[self.unit].sign)
        return f"{size} or more" if self.includes_limit else f"more than {size}"


QUANTITIES = (
    Quantity("tilt", "deg", "side_difference_deg", True, (0.5, 6.0, 0.25)),
    Quantity("sway", "mm", None, False, (0, 0, 1)),
    Quantity("offset", "mm", "offset_difference_mm", False, (2.5, 40.0, 2.5)),
)


@dataclass(frozen=True)
class Firsts:
    """Riders' first sessions, one row a rider; `fit` is the row among all selected fits, `named` a place in PATTERNS."""

    fit: NDArray[np.int64]
    fit_no: NDArray[np.int64]
    knees: Mapping[str, Knees]
    shown: Mapping[str, dict[str, Flags]]
    named: Mapping[str, NDArray[np.int8]]
    has_pattern: Mapping[str, Flags]

    def size(self, quantity: Quantity, moment: str) -> Floats:
        """|right - left|; NaN where a knee is missing."""
        knees, unit = self.knees[moment], quantity.unit
        left, right = (getattr(knees, f"{quantity.name}_{side}_{unit}") for side in ("left", "right"))
        return np.abs(side_difference(left, right))

    def beyond(self, quantity: Quantity, moment: str, limit: float) -> Flags:
        size = self.size(quantity, moment)
        return np.asarray(size >= limit if quantity.includes_limit else size > limit)


def first_sessions(fits: Mapping[str, NDArray[Any]], settings: Settings) -> Firsts:
    """The rows of riders' first sessions, with the patterns of both moments."""
    first = np.flatnonzero(fits["is_first"].astype(bool))
    knees = {moment: _knees(fits, moment, first) for moment in MOMENTS}
    shown = {moment: patterns(knees[moment], settings.knee) for moment in MOMENTS}
    return Firsts(
        fit=first,
        fit_no=fits["fit_no"][first],
        knees=knees,
        shown=shown,
        named={moment: numbered(shown[moment]) for moment in MOMENTS},
        has_pattern={moment: has_pattern(knees[moment]) for moment in MOMENTS},
    )


def _knees(fits: Mapping[str, NDArray[Any]], moment: str, rows: NDArray[np.int64]) -> Knees:
    columns = {
        f"{name}_{side}_{unit}": fits[f"{name}_{side}_{moment}"].astype(float)[rows]
        for name, unit in (("tilt", "deg"), ("sway", "mm"), ("offset", "mm"))
        for side in ("left", "right")
    }
    return Knees(**columns, high_sway_mm=fits["high_sway_mm"].astype(float)[rows])


def prevalence_row(
    firsts: Firsts,
    quantity: Quantity,
    moment: str,
    masks: Mapping[str | None, Flags],
    level: str | None,
    split: str | None,
    settings: Settings,
) -> PrevalenceRow:
    """Riders beyond the limit at one moment of their first session; a level is also compared with the riders outside of it."""
    limit = quantity.limit(settings)
    seen = np.isfinite(firsts.size(quantity, moment))
    beyond, inside = firsts.beyond(quantity, moment, limit), masks[level][firsts.fit]
    n, n_beyond = int((seen & inside).sum()), int((beyond & inside).sum())
    blank = (None,) * 7
    row = PrevalenceRow(
        quantity.name, quantity.unit, limit, moment, split if level else None, level, n, n_beyond, *blank, ""
    )  # fmt: skip
    if n < settings.minimum.rows_shown:
        return replace(row, words=f"{_prefix(split, level)}not enough yet, {counted(n, 'rider')} at their first session.")
    found = wilson_interval(n_beyond, n, settings.intervals.level)
    row = replace(row, share=float(found.estimate[0]), low=float(found.low[0]), high=float(found.high[0]))
    n_others, n_others_beyond = int((seen & ~inside).sum()), int((beyond & ~inside).sum())
    if level is not None and n_others >= settings.minimum.rows_shown:
        gap = share_difference(n_beyond, n, n_others_beyond, n_others, settings.intervals.level)
        row = replace(
            row,
            other_share=n_others_beyond / n_others,
            difference=float(gap.estimate[0]),
            difference_low=float(gap.low[0]),
            difference_high=float(gap.high[0]),
        )
    return replace(row, words=_prevalence_words(row, quantity.limit_words(settings)))


def _prefix(split: str | None, level: str | None) -> str:
    return f"{level_words(split, level).capitalize()}: " if level else ""


def _prevalence_words(row: PrevalenceRow, limit: str) -> str:
    assert row.share is not None and row.low is not None and row.high is not None
    verb = "came with" if row.moment == "arrival" else "left with"
    words = (
        f"{_prefix(row.split, row.level)}{spoken_percent(row.share)} of riders {verb} a side difference in {row.quantity} of "
        f"{limit} ({spoken_percents(row.low, row.high)}; "
        f"{counted(row.n_riders, 'rider')} at their first session)"
    )
    if row.difference is None or row.difference_low is None or row.difference_high is None:
        return f"{words}."
    return (
        f"{words}, {spoken_points(row.difference)} against the other riders "
        f"({spoken(100 * row.difference_low, 0)} to {spoken(100 * row.difference_high, 0)})."
    )


def change_row(
    finding: str, spoken_as: str, before: Flags, after: Flags, split: str | None, level: str | None, settings: Settings
) -> ChangeRow:
    """What became of a finding in the same riders, one row a rider; counts always, shares from the minimum on."""
    n = len(before)
    resolved, persisting, new = (int(chosen.sum()) for chosen in (before & ~after, before & after, ~before & after))
    counts = (resolved, persisting, new, n - resolved - persisting - new)
    row = ChangeRow(finding, split if level else None, level, n, *counts, None, None, None, None, None, None, None, "")
    if n < settings.minimum.rows_shown:
        return replace(row, words=f"{_prefix(split, level)}not enough yet, {counted(n, 'rider')} recorded at both ends.")
    found = paired_change(before, after, settings.intervals.level)
    return replace(
        row,
        share_arrival=found.share_before,
        share_departure=found.share_after,
        difference=found.difference,
        low=found.low,
        high=found.high,
        p_value=found.p_value,
        words=_prefix(split, level) + _change_words(found, spoken_as),
    )


def _change_words(found: PairedShares, spoken_as: str) -> str:
    verdict = "fewer" if found.high < 0 else "more" if found.low > 0 else "no clear change"
    text = (
        f"of {counted(found.n, 'rider')} recorded at both ends, {spoken_as} was resolved in {found.resolved:,}, persisted in "
        f"{found.persisting:,}, was new in {found.new:,} and absent at both in {found.none:,}: from "
        f"{spoken_percent(found.share_before)} to {spoken_percent(found.share_after)}, {verdict} "
        f"({spoken_points(found.difference)}, {spoken(100 * found.low, 0)} to {spoken(100 * found.high, 0)})."
    )
    return text[0].upper() + text[1:]


def headline_of(prevalence: PrevalenceRow, change: ChangeRow) -> str:
    """How many riders came with a side difference, and how many of the same riders left with one."""
    told = prevalence.words[0].upper() + prevalence.words[1:]
    if change.share_departure is None or change.difference is None or change.low is None or change.high is None:
        return told
    low, high = change.low, change.high
    told_as = "fewer" if high < 0 else "more" if low > 0 else ""
    if told_as:
        low, high = sorted((abs(low), abs(high)))
        moved = f"{spoken_points(abs(change.difference))} {told_as} ("
    else:
        moved = f"no clear change ({spoken_points(change.difference)}, "
    moved += f"{spoken(100 * low, 0)} to {spoken(100 * high, 0)}"
    return (
        f"{told} {spoken_percent(change.share_departure)} left with one, {moved}; "
        f"{counted(change.n_riders, 'rider')} recorded at both ends)."
    )


def with_q_values(rows: Iterable[ChangeRow]) -> tuple[ChangeRow, ...]:
    """The rows with q-values over those that were tested."""
    held = list(rows)
    tested = [row for row in held if row.p_value is not None]
    q_values = iter(benjamini_hochberg([row.p_value for row in tested if row.p_value is not None]))
    return tuple(row if row.p_value is None else replace(row, q_value=next(q_values)) for row in held)


def pattern_words(pattern: str) -> str:
    """As in: the pattern "inward"."""
    return f'the pattern "{pattern}"'


def difference_row(
    fits: Mapping[str, NDArray[Any]],
    quantity: Quantity,
    moment: str,
    inside: Flags,
    split: str | None,
    level: str | None,
    settings: Settings,
) -> DifferenceRow:
    """Right less left over all selected fits: the mean tells whether one side leads, the median size how large it is."""
    difference = fits[f"{quantity.name}_difference_{moment}"]
    chosen = np.flatnonzero(inside & np.isfinite(difference))
    values, rider = difference[chosen], fits["rider"][chosen]
    n, n_riders = len(values), count_riders(rider)
    blank = (None,) * 5
    row = DifferenceRow(
        quantity.name, quantity.unit, moment, split if level else None, level, n, n_riders, *blank, ""
    )  # fmt: skip
    if n_riders < settings.minimum.riders_shown:
        return replace(row, words=f"{_prefix(split, level)}not enough yet, {counted(n_riders, 'rider')}.")
    found, sign = clustered_mean(values, rider, settings.intervals.level), UNITS[quantity.unit].sign
    median, p90 = (float(value) for value in np.quantile(np.abs(values), [0.5, 0.9]))
    words = (
        f"{_prefix(split, level)}{quantity.name} at {moment}: the sides differ by {spoken(median, 1, sign)} in the middle "
        f"fit and by {spoken(p90, 1, sign)} or more in one of ten; right less left is "
        f"{spoken(found.estimate, 2, sign)} on average "
        f"({spoken(found.low, 2)} to {spoken(found.high, 2, sign)}; {counted(n, 'fit')})."
    )
    return replace(row, mean=found.estimate, low=found.low, high=found.high, median_size=median, p90_size=p90, words=words)


def curve_rows(firsts: Firsts, quantity: Quantity, settings: Settings) -> Iterator[CurveRow]:
    """The prevalence over a range of limits, with the set one among them."""
    if not quantity.limit_key:
        return
    start, stop, step = quantity.curve
    set_limit = quantity.limit(settings)
    limits = np.union1d(np.arange(start, stop + step / 2, step), [set_limit])
    for moment in MOMENTS:
        size = firsts.size(quantity, moment)
        size = np.sort(size[np.isfinite(size)])
        n = len(size)
        side = "left" if quantity.includes_limit else "right"
        n_beyond = n - np.searchsorted(size, limits, side=side)  # type: ignore[call-overload]
        found = wilson_interval(n_beyond, np.full(len(limits), n), settings.intervals.level) if n else None
        shows = found is not None and n >= settings.minimum.rows_shown
        for at, limit in enumerate(limits):
            figures = (found.estimate[at], found.low[at], found.high[at]) if found and shows else (None, None, None)
            share, low, high = (None if figure is None else float(figure) for figure in figures)
            is_set = bool(limit == set_limit)
            yield CurveRow(quantity.name, quantity.unit, moment, float(limit), is_set, n, share, low, high)


def repeat_row(pairs: Mapping[str, NDArray[Any]], quantity: Quantity, settings: Settings) -> RepeatRow:
    """Of the differences beyond the limit, how many were below it in a repeat with nothing changed."""
    limit = quantity.limit(settings)
    before, after = (
        np.abs(side_difference(pairs[f"{quantity.name}_left{when}"], pairs[f"{quantity.name}_right{when}"]))
        for when in ("_before", "")
    )
    seen = np.isfinite(before) & np.isfinite(after)
    beyond = seen & (before >= limit if quantity.includes_limit else before > limit)
    riders = pairs["rider"][beyond]
    gone = (after < limit if quantity.includes_limit else after <= limit)[beyond].astype(float)
    row = RepeatRow(
        quantity.name, quantity.unit, limit, int(seen.sum()), len(gone), int(gone.sum()), None, None, None, "",
        count_riders(riders),
    )  # fmt: skip
    if len(gone) < settings.minimum.rows_shown or row.n_riders < 2:
        told = counted(len(gone), "repeat")
        return replace(
            row, words=f"Side difference in {quantity.name}: not enough yet, {told} of a difference beyond the limit."
        )
    found = clustered_share(gone, riders, settings.intervals.level)
    words = (
        f"With nothing changed, {spoken_percent(found.estimate)} of side differences in {quantity.name} of "
        f"{quantity.limit_words(settings)} were below it in the next capture ("
        f"{spoken_percents(found.low, found.high)}; {counted(len(gone), 'repeat')}): so many seem resolved by noise alone."
    )
    return replace(row, share_no_longer=found.estimate, low=found.low, high=found.high, words=words)

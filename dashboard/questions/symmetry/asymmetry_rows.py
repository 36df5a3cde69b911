"""Rows and sentences of the asymmetry answer."""

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from dashboard.questions.selection.levels import count_riders, level_words
from dashboard.questions.selection.numbers import spoken, spoken_percent, spoken_percents, spoken_points
from dashboard.questions.selection.scope import counted
from dashboard.questions.selection.selection import SPLITS
from dashboard.questions.symmetry.answers_asymmetry import ChangeRow, CurveRow, DifferenceRow, PrevalenceRow, RepeatRow
from dashboard.questions.symmetry.both_sides import side_difference
from dashboard.questions.symmetry.knee_patterns import Knees, has_pattern, numbered, patterns
from shared.settings import Settings
from shared.statistics.clustered.means import clustered_mean, clustered_share
from shared.statistics.multiplicity import in_family
from shared.statistics.paired_shares import paired_change
from shared.statistics.proportions import share_difference, share_difference_p, wilson_interval
from shared.statistics.told import direction
from shared.units import UNITS

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

MOMENTS = ("arrival", "departure")
# Prevalence, change, patterns, differences.
_TESTED_LISTS = 4
_Tested = TypeVar("_Tested", PrevalenceRow, ChangeRow, DifferenceRow)


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
        """The size of the side difference, |right - left|; NaN where a knee is missing."""
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
    patterns_at = {moment: patterns(knees[moment], settings.knee) for moment in MOMENTS}
    return Firsts(
        fit=first,
        fit_no=fits["fit_no"][first],
        knees=knees,
        shown=patterns_at,
        named={moment: numbered(patterns_at[moment]) for moment in MOMENTS},
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
    prevalence = wilson_interval(n_beyond, n, settings.intervals.level)
    row = replace(row, share=float(prevalence.estimate[0]), low=float(prevalence.low[0]), high=float(prevalence.high[0]))
    n_others, n_others_beyond = int((seen & ~inside).sum()), int((beyond & ~inside).sum())
    if level is not None and n_others >= settings.minimum.rows_shown:
        gap = share_difference(n_beyond, n, n_others_beyond, n_others, settings.intervals.level)
        row = replace(
            row,
            other_share=n_others_beyond / n_others,
            difference=float(gap.estimate[0]),
            difference_low=float(gap.low[0]),
            difference_high=float(gap.high[0]),
            p_value=share_difference_p(n_beyond, n, n_others_beyond, n_others),
        )
    return replace(row, words=_prevalence_words(row, quantity.limit_words(settings)))


def against_others(row: PrevalenceRow) -> PrevalenceRow:
    """The row with what its difference from the other riders tells, where it has one and the q-value is known."""
    low, high = row.difference_low, row.difference_high
    if row.difference is None or low is None or high is None:
        return row
    claimed = direction(low, high, row.q_value)
    gap = spoken_points(abs(row.difference)) if claimed else f"{spoken_points(row.difference)},"
    if claimed:
        low, high = sorted((abs(low), abs(high)))
    ends = f"({spoken(100 * low, 0)} to {spoken(100 * high, 0)})"
    than = {1: "more than", -1: "fewer than", 0: "no difference told from" if _is_chosen(row) else "no clear difference from"}
    return replace(row, words=f"{row.words.removesuffix('.')}, {gap} {than[claimed]} the other riders {ends}.")


def _prefix(split: str | None, level: str | None) -> str:
    return f"{level_words(split, level).capitalize()}: " if level else ""


def _prevalence_words(row: PrevalenceRow, limit: str) -> str:
    assert row.share is not None and row.low is not None and row.high is not None
    verb = "came with" if row.moment == "arrival" else "left with"
    return (
        f"{_prefix(row.split, row.level)}{spoken_percent(row.share)} of riders {verb} a side difference in {row.quantity} of "
        f"{limit} ({spoken_percents(row.low, row.high)}; "
        f"{counted(row.n_riders, 'rider')} at their first session)."
    )


def change_row(
    finding: str, before: Flags, after: Flags, split: str | None, level: str | None, settings: Settings
) -> ChangeRow:
    """What became of a finding in the same riders, one row a rider; counts always, shares from the minimum on. Its words wait
    for the q-value."""
    n = len(before)
    resolved, persisting, new = (int(chosen.sum()) for chosen in (before & ~after, before & after, ~before & after))
    counts = (resolved, persisting, new, n - resolved - persisting - new)
    row = ChangeRow(finding, split if level else None, level, n, *counts, None, None, None, None, None, None, None, "")
    if n < settings.minimum.rows_shown:
        return replace(row, words=f"{_prefix(split, level)}not enough yet, {counted(n, 'rider')} recorded at both ends.")
    change = paired_change(before, after, settings.intervals.level)
    return replace(
        row,
        share_arrival=change.share_before,
        share_departure=change.share_after,
        difference=change.difference,
        low=change.low,
        high=change.high,
        p_value=change.p_value,
    )


def change_told(row: ChangeRow) -> ChangeRow:
    """The row with its sentence, where it has figures and the q-value is known."""
    if row.share_arrival is None or row.share_departure is None or row.difference is None:
        return row
    claimed = {1: "more", -1: "fewer", 0: "no change told" if _is_chosen(row) else "no clear change"}[
        direction(row.low, row.high, row.q_value)
    ]
    thing = f"a {row.finding}" if row.finding.startswith("side difference") else pattern_words(row.finding)
    words = (
        f"Of {counted(row.n_riders, 'rider')} recorded at both ends, {thing} was resolved in {row.n_resolved:,}, persisted in "
        f"{row.n_persisting:,}, was new in {row.n_new:,} and absent at both in {row.n_none:,}: from "
        f"{spoken_percent(row.share_arrival)} to {spoken_percent(row.share_departure)}, {claimed} "
        f"({spoken_points(row.difference)}, {spoken(100 * (row.low or 0), 0)} to {spoken(100 * (row.high or 0), 0)})."
    )
    return replace(row, words=_prefix(row.split, row.level) + words)


def headline_of(prevalence: PrevalenceRow, change: ChangeRow) -> str:
    """How many riders came with a side difference, and how many of the same riders left with one."""
    arrived = prevalence.words[0].upper() + prevalence.words[1:]
    if change.share_departure is None or change.difference is None or change.low is None or change.high is None:
        return arrived
    low, high = change.low, change.high
    than_before = {1: "more", -1: "fewer", 0: ""}[direction(low, high, change.q_value)]
    if than_before:
        low, high = sorted((abs(low), abs(high)))
        moved = f"{spoken_points(abs(change.difference))} {than_before} ("
    else:
        moved = f"no clear change ({spoken_points(change.difference)}, "
    moved += f"{spoken(100 * low, 0)} to {spoken(100 * high, 0)}"
    return (
        f"{arrived} {spoken_percent(change.share_departure)} left with one, {moved}; "
        f"{counted(change.n_riders, 'rider')} recorded at both ends)."
    )


def of_all_riders(rows: Iterable[ChangeRow | DifferenceRow]) -> dict[tuple[str, str], float | None]:
    """The q-values of all that is told of all riders, which is one family, by `_key`."""
    held = list(rows)
    return dict(zip(map(_key, held), in_family([row.p_value for row in held]), strict=True))


def _key(row: PrevalenceRow | ChangeRow | DifferenceRow) -> tuple[str, str]:
    return (row.finding, "") if isinstance(row, ChangeRow) else (row.quantity, row.moment)


def judged(
    rows: Iterable[_Tested], told: Callable[[_Tested], _Tested], overall: Mapping[tuple[str, str], float | None]
) -> tuple[_Tested, ...]:
    """The rows with their q-values, each `told` by it: those of all riders as in `overall`, the levels of a split in a family
    of their own, one of as many as there are splits to choose from and lists to read."""
    held = [replace(row, p_value=None) if _is_chosen(row) else row for row in rows]
    of_levels = iter(in_family([row.p_value for row in held if row.level is not None], len(SPLITS) * _TESTED_LISTS))
    q_values = [overall.get(_key(row)) if row.level is None else next(of_levels) for row in held]
    return tuple(told(replace(row, q_value=q_value)) for row, q_value in zip(held, q_values, strict=True))


def _is_chosen(row: PrevalenceRow | ChangeRow | DifferenceRow) -> bool:
    """Whether the riders of a row were chosen by the very capture that it begins with: its noise alone then brings a change."""
    return row.split == "arrival_direction"


def pattern_words(pattern: str) -> str:
    """Names a knee pattern in a sentence, as in: the pattern "inward"."""
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
    mean, sign = clustered_mean(values, rider, settings.intervals.level), UNITS[quantity.unit].sign
    median, p90 = (float(value) for value in np.quantile(np.abs(values), [0.5, 0.9]))
    words = (
        f"{_prefix(split, level)}{quantity.name} at {moment}: the sides differ by {spoken(median, 1, sign)} in the middle "
        f"fit and by {spoken(p90, 1, sign)} or more in one of ten; right less left is "
        f"{spoken(mean.estimate, 2, sign)} on average "
        f"({spoken(mean.low, 2)} to {spoken(mean.high, 2, sign)}; {counted(n, 'fit')})."
    )
    with_mean = replace(row, mean=mean.estimate, low=mean.low, high=mean.high, p_value=mean.p_value)
    return replace(with_mean, median_size=median, p90_size=p90, words=words)


def leading_side(row: DifferenceRow) -> DifferenceRow:
    """The row with whether one side leads, where it has a mean and the q-value is known."""
    if row.mean is None:
        return row
    claimed = direction(row.low, row.high, row.q_value)
    leader = {1: "the right side leads", -1: "the left side leads", 0: "neither side clearly leads"}[claimed]
    return replace(row, words=f"{row.words.removesuffix('.')}: {leader}.")


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
        curve = wilson_interval(n_beyond, np.full(len(limits), n), settings.intervals.level) if n else None
        shows = curve is not None and n >= settings.minimum.rows_shown
        for at, limit in enumerate(limits):
            figures = (curve.estimate[at], curve.low[at], curve.high[at]) if curve and shows else (None, None, None)
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
        repeats = counted(len(gone), "repeat")
        return replace(
            row, words=f"Side difference in {quantity.name}: not enough yet, {repeats} of a difference beyond the limit."
        )
    share = clustered_share(gone, riders, settings.intervals.level)
    words = (
        f"With nothing changed, {spoken_percent(share.estimate)} of side differences in {quantity.name} of "
        f"{quantity.limit_words(settings)} were below it in the next capture ("
        f"{spoken_percents(share.low, share.high)}; {counted(len(gone), 'repeat')}): so many seem resolved by noise alone."
    )
    return replace(row, share_no_longer=share.estimate, low=share.low, high=share.high, words=words)

"""Does the fit hold: knees as the follow-up first found them against the fit's departure, and what riders said.

Only those who came back are seen. What is said of all rests on bounds that assume nothing of the others.
"""

from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from dashboard.questions.data.answers_noise import NoiseRow
from dashboard.questions.followed.held import further_from_neutral
from dashboard.questions.returns import SQL
from dashboard.questions.returns.answers_returns import LastingRow, SaidRow
from dashboard.questions.returns.unseen import Left
from dashboard.questions.selection.every_fit import Remember, read_or_cut
from dashboard.questions.selection.levels import count_riders
from dashboard.questions.selection.numbers import spoken, spoken_percent, spoken_percents
from dashboard.questions.selection.scope import Scope, counted
from shared.settings import Settings
from shared.statistics.clustered.means import Estimate, clustered_mean, clustered_share
from shared.statistics.unseen import Bounds, bounds_of_mean
from shared.units import UNITS
from shared.warehouse import Warehouse

# The best answer of each topic, of 0 to 10.
BEST: Final = {"satisfaction": 10.0, "pain": 0.0}
_POINTS: Final = (0.0, 10.0)


def lasting_rows(
    warehouse: Warehouse,
    scope: Scope,
    left: Left,
    noise: Mapping[str, NoiseRow],
    settings: Settings,
    remember: Remember | None = None,
) -> Iterator[LastingRow]:
    """Tilt (distance from neutral) and sway of each knee found again, of fits whose window has closed. `noise`: by outcome."""
    knees = read_or_cut(warehouse, scope, SQL / "returns_knees.sql", remember)
    for outcome, unit in (("tilt", "deg"), ("sway", "mm")):
        before, after = (knees[f"{outcome}_{when}_{unit}"].astype(float) for when in ("left", "found"))
        change = further_from_neutral(before, after)
        yield _lasting(outcome, knees, np.isfinite(before), change, left, noise[outcome], settings)


def _lasting(
    outcome: str,
    knees: dict[str, NDArray[Any]],
    known: NDArray[np.bool_],
    change: NDArray[np.float64],
    left: Left,
    noise_row: NoiseRow,
    settings: Settings,
) -> LastingRow:
    """One outcome's row. change: of each knee, NaN where it was not found again; known: whether it was recorded as it left."""
    change, rider, fit_no, level = change[known], knees["rider"][known], knees["fit_no"][known], settings.intervals.level
    seen = np.isfinite(change)
    n, n_seen, n_riders = len(change), int(seen.sum()), count_riders(rider[seen])
    row = LastingRow(outcome, noise_row.unit, n, n_seen, n_riders)
    if n_seen < settings.minimum.rows_shown or n_riders < 2:
        words = f"{outcome.capitalize()}: not enough yet, {n_seen:,} of {counted(n, 'knee')} found again."
        return replace(row, words=words)
    mean = clustered_mean(change[seen], rider[seen], level)
    # Two rows are one family: each is sure where half the chance of an error would do.
    sure = clustered_mean(change[seen], rider[seen], (1 + level) / 2)
    words = _change_words(row, mean, is_sure=sure.low > 0 or sure.high < 0)
    row = replace(row, mean_change=mean.estimate, mean_change_low=mean.low, mean_change_high=mean.high, words=words)
    if noise_row.mdc95 is None:
        return replace(row, words=f"{row.words} {noise_row.words}")
    held = np.where(seen, change <= noise_row.mdc95, np.nan)
    held_share = clustered_share(held[seen], rider[seen], level)
    bounds = bounds_of_mean(held, rider, (0.0, 1.0), level, is_share=True)
    row = replace(
        row,
        mdc95=noise_row.mdc95,
        held=held_share.estimate,
        held_low=held_share.low,
        held_high=held_share.high,
        worst=bounds.low,
        best=bounds.high,
        bounds_low=bounds.interval_low,
        bounds_high=bounds.interval_high,
    )
    alike = left.mean_of_all(held, fit_no, rider, level)
    if alike:
        row = replace(row, alike=alike.estimate, alike_low=max(alike.low, 0.0), alike_high=min(alike.high, 1.0))
    return replace(row, words=f"{_held_words(row, bounds, alike)} {row.words}")


def _change_words(row: LastingRow, mean: Estimate, *, is_sure: bool) -> str:
    sign = UNITS[row.unit].sign
    thing = "distance from neutral" if row.outcome == "tilt" else "sway"
    change = f"{spoken(mean.estimate, 2, sign)} ({spoken(mean.low, 2)} to {spoken(mean.high, 2, sign)}) on average"
    span = "from the fit's departure to the follow-up's arrival"
    if not is_sure:
        return f"No clear change in {thing} {span} in knees found again, {change}."
    return f"In knees found again {thing} changed by {change} {span}."


def _held_words(row: LastingRow, bounds: Bounds, alike: Estimate | None) -> str:
    start = f"{row.outcome.capitalize()}: {row.n_seen:,} of {counted(row.n_knees, 'knee')} were found again"
    held = spoken_percent(row.held or 0)
    if row.n_seen == row.n_knees:
        return f"{start}, and {held} held ({spoken_percents(row.held_low or 0, row.held_high or 0)}). {for_most(row)}"
    words = (
        f"{start}, {row.n_knees - row.n_seen:,} were not. Of all, {spoken_percents(bounds.low, bounds.high)} held: the one end "
        "if none of those not found did, the other if each did "
        f"({spoken_percents(bounds.interval_low, bounds.interval_high)} with chance). {for_most(row)} "
        f"Of those found again {held} held"
    )
    if alike is None:
        return f"{words}."
    alike_share, ends = spoken_percent(alike.estimate), spoken_percents(row.alike_low or 0, row.alike_high or 0)
    return f"{words}; of all {alike_share} ({ends}), if those not found held as did those who were alike when they left."


def for_most(row: LastingRow) -> str:
    """Whether the fit held for most knees, by the bounds alone."""
    others = "" if row.n_seen == row.n_knees else ", whatever became of the others"
    if row.bounds_low is not None and row.bounds_low > 1 / 2:
        return f"It held for most{others}."
    if row.bounds_high is not None and row.bounds_high < 1 / 2:
        return f"It did not hold for most{others}."
    return "Whether it held for most cannot be told."


def said_rows(left: Left, settings: Settings) -> Iterator[SaidRow]:
    """Satisfaction and pain at the follow-up, of fits whose window has closed: medians, quartiles, and means with bounds."""
    rows, level = left.rows, settings.intervals.level
    for topic, best in BEST.items():
        points = rows[f"{topic}_points"].astype(float)
        answered = np.isfinite(points)
        n, n_fits, n_riders, name = int(answered.sum()), len(points), count_riders(rows["rider"][answered]), topic.capitalize()
        if n < settings.minimum.rows_shown or n_riders < 2:
            words = f"{name}: not enough yet, {counted(n, 'answer')} of {counted(n_fits, 'fit')}."
            yield SaidRow(topic, n, None, None, None, words, n_riders, n_fits)
            continue
        bounds = bounds_of_mean(points, rows["rider"], _POINTS, level, is_share=False)
        ends = (bounds.low, bounds.high) if best else (bounds.high, bounds.low)
        alike = left.mean_of_all(points, rows["fit_no"], rows["rider"], level)
        low, median, high = (float(x) for x in np.quantile(points[answered], (0.25, 0.5, 0.75)))
        row = SaidRow(topic, n, median, low, high, "", n_riders, n_fits, float(points[answered].mean()), *ends)
        row = replace(row, bounds_low_points=bounds.interval_low, bounds_high_points=bounds.interval_high)
        if alike:
            mean, lowest, highest = (float(np.clip(end, *_POINTS)) for end in (alike.estimate, alike.low, alike.high))
            row = replace(row, alike_points=mean, alike_low_points=lowest, alike_high_points=highest)
        yield replace(row, words=_said_words(row, bounds))


def _said_words(row: SaidRow, bounds: Bounds) -> str:
    points = [row.median_points or 0.0, row.quartile_low_points or 0.0, row.quartile_high_points or 0.0]
    quartiles = [spoken(value, 0 if value.is_integer() else 1) for value in points]
    of = f"{row.n:,} of {counted(row.n_fits, 'fit')}"
    words = (
        f"{row.topic.capitalize()} at the follow-up, told of {of}: median {quartiles[0]} of 10, the middle half "
        f"from {quartiles[1]} to {quartiles[2]}, mean {spoken(row.mean_points or 0, 1)}."
    )
    if row.n == row.n_fits:
        return words
    words += (
        f" The other {row.n_fits - row.n:,} are not seen: over all fits the mean lies between {spoken(bounds.low, 1)} and "
        f"{spoken(bounds.high, 1)}, whatever they would have said ({spoken(bounds.interval_low, 1)} to "
        f"{spoken(bounds.interval_high, 1)} with chance)."
    )
    if row.alike_points is None:
        return words
    ends = f"{spoken(row.alike_low_points or 0, 1)} to {spoken(row.alike_high_points or 0, 1)}"
    return f"{words} It is {spoken(row.alike_points, 1)} ({ends}) if they are as those who were alike when they left."

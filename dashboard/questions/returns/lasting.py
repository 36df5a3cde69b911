"""Does the fit hold: knees as the follow-up first found them against the fit's departure, and what riders said."""

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dashboard.questions.data import noise
from dashboard.questions.data.answers_noise import NoiseRow
from dashboard.questions.returns import SQL
from dashboard.questions.returns.answers_returns import LastingRow, SaidRow
from dashboard.questions.selection.every_fit import Remember, read_or_cut
from dashboard.questions.selection.levels import count_riders
from dashboard.questions.selection.numbers import spoken, spoken_percent, spoken_percents
from dashboard.questions.selection.scope import Scope, counted
from shared.settings import Settings
from shared.statistics.clustered.means import clustered_mean, clustered_share
from shared.units import UNITS
from shared.warehouse import Warehouse


def lasting_rows(
    warehouse: Warehouse, scope: Scope, settings: Settings, remember: Remember | None = None
) -> Iterator[LastingRow]:
    """Tilt (distance from neutral) and sway of each knee found again, of fits whose window has closed."""
    knees = read_or_cut(warehouse, scope, SQL / "returns_knees.sql", remember)
    pairs = noise.pairs_of(warehouse, scope, remember)
    tilt_left, tilt_found = np.abs(knees["tilt_left_deg"].astype(float)), np.abs(knees["tilt_found_deg"].astype(float))
    yield _lasting("tilt", tilt_left, tilt_found, knees["rider"], noise.row_of("tilt", pairs, settings), settings)
    sway_left, sway_found = knees["sway_left_mm"].astype(float), knees["sway_found_mm"].astype(float)
    yield _lasting("sway", sway_left, sway_found, knees["rider"], noise.row_of("sway", pairs, settings), settings)


def _lasting(
    outcome: str,
    left: NDArray[np.float64],
    found: NDArray[np.float64],
    rider: NDArray[Any],
    noise_row: NoiseRow,
    settings: Settings,
) -> LastingRow:
    known = np.isfinite(left)
    left, found, rider = left[known], found[known], rider[known]
    seen = np.isfinite(found)
    change, seen_rider = (found - left)[seen], rider[seen]
    n, n_seen, n_riders = len(left), int(seen.sum()), count_riders(seen_rider)
    row = LastingRow(outcome, noise_row.unit, n, n_seen, n_riders)
    if n_seen < settings.minimum.rows_shown or n_riders < 2:
        words = f"{outcome.capitalize()}: not enough yet, {counted(n_seen, 'knee')} found again."
        return replace(row, words=words)
    mean = clustered_mean(change, seen_rider, settings.intervals.level)
    row = replace(
        row, mean_change=mean.estimate, mean_change_low=mean.low, mean_change_high=mean.high, words=_change_words(row, mean)
    )
    if noise_row.mdc95 is None:
        return replace(row, words=f"{row.words} {noise_row.words}")
    held = clustered_share((change <= noise_row.mdc95).astype(float), seen_rider, settings.intervals.level)
    n_held = int((change <= noise_row.mdc95).sum())
    row = replace(
        row,
        mdc95=noise_row.mdc95,
        held=held.estimate,
        held_low=held.low,
        held_high=held.high,
        worst=n_held / n,
        best=(n_held + n - n_seen) / n,
    )
    return replace(row, words=f"{_held_words(row)} {row.words}")


def _change_words(row: LastingRow, mean: Any) -> str:
    sign = UNITS[row.unit].sign
    thing = "Distance from neutral" if row.outcome == "tilt" else "Sway"
    return (
        f"{thing} changed by {spoken(mean.estimate, 2, sign)} ({spoken(mean.low, 2)} to {spoken(mean.high, 2, sign)}) "
        "on average from the fit's departure to the follow-up's arrival."
    )


def _held_words(row: LastingRow) -> str:
    held, worst, best = (spoken_percent(x or 0) for x in (row.held, row.worst, row.best))
    interval = spoken_percents(row.held_low or 0, row.held_high or 0)
    return (
        f"{row.outcome.capitalize()} held in {held} of knees found again ({interval}; {row.n_seen:,} of "
        f"{counted(row.n_knees, 'knee')}); of all knees, in {worst} if none of the others held, in {best} if each of them did."
    )


def said_rows(rows: dict[str, NDArray[Any]], settings: Settings) -> Iterator[SaidRow]:
    """Satisfaction and pain at the follow-up: ordinal, so medians and quartiles."""
    for topic in ("satisfaction", "pain"):
        points = rows[f"{topic}_points"].astype(float)
        told_at_all = np.isfinite(points)
        points, n_riders = points[told_at_all], count_riders(rows["rider"][told_at_all])
        n, name = len(points), topic.capitalize()
        if n < settings.minimum.rows_shown:
            yield SaidRow(topic, n, None, None, None, f"{name}: not enough yet, {counted(n, 'answer')}.", n_riders)
            continue
        low, median, high = (float(x) for x in np.quantile(points, (0.25, 0.5, 0.75)))
        told = [spoken(value, 0 if value.is_integer() else 1) for value in (median, low, high)]
        words = (
            f"{name} at the follow-up: median {told[0]} of 10, the middle half from {told[1]} to {told[2]} "
            f"({counted(n, 'answer')})."
        )
        yield SaidRow(topic, n, median, low, high, words, n_riders)

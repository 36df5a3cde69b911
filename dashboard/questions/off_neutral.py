"""Nearer to neutral or further: by where the knee stood at arrival, with the expected regression to the mean taken off."""

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from dashboard.questions.answers_effects import NeutralRow
from dashboard.questions.numbers import spoken
from dashboard.questions.scope import counted
from dashboard.questions.supports import Rows
from shared.settings import Settings
from shared.statistics.clustered import clustered_mean
from shared.statistics.regression_to_mean import expected_distance_change

DIRECTIONS = ("inward", "near neutral", "outward")
_SEEN = {
    "inward": "Knees that came inward",
    "near neutral": "Knees that came near neutral",
    "outward": "Knees that came outward",
}


def with_distance(rows: Rows, typical_error: float | None) -> dict[str, NDArray[np.generic]]:
    """The rows with `off_neutral`, the distance of the tilt from neutral in degrees.

    At arrival, by which the direction is chosen, it is what a repeat capture would be expected to show: the regression to
    the mean is taken off there, so that it is not counted as the supports' doing. Without a typical error it stays.
    """
    tilt = rows["tilt"].astype(float)
    distance = np.abs(tilt)
    if typical_error is not None:
        arrival = _arrivals(rows)
        distance[arrival] += expected_distance_change(tilt[arrival], typical_error)
    return {**rows, "off_neutral": distance}


def neutral_rows(rows: Rows, typical_error: float | None, settings: Settings) -> Iterator[NeutralRow]:
    """One row an arrival direction; without figures where there are too few knees or no typical error."""
    first, last, rider, direction = _ends(rows)
    expected = expected_distance_change(first, typical_error) if typical_error is not None and len(first) > 2 else None
    for name in DIRECTIONS:
        here = direction == name
        n_knees, n_riders = int(here.sum()), len(np.unique(rider[here]))
        row = NeutralRow(name, n_knees, n_riders, None, None, None, None, None, "")
        if expected is None or n_knees < settings.minimum.rows_shown or n_riders < 2:
            words = f"{_SEEN[name]}: not enough yet, {counted(n_knees, 'knee')}"
            reason = ", and no repeat captures to know the noise from" if typical_error is None else ""
            yield NeutralRow(*_head(row), None, None, None, None, None, f"{words}{reason}.")
            continue
        change = np.abs(last[here]) - np.abs(first[here])
        found = clustered_mean(change - expected[here], rider[here], settings.intervals.level)
        by_noise = float(expected[here].mean())
        yield NeutralRow(
            *_head(row),
            change_deg=float(change.mean()),
            expected_deg=by_noise,
            net_deg=found.estimate,
            net_low_deg=found.low,
            net_high_deg=found.high,
            words=_words(name, float(change.mean()), by_noise, found.estimate, found.low, found.high),
        )


def _head(row: NeutralRow) -> tuple[str, int, int]:
    return row.arrival_direction, row.n_knees, row.n_riders


def _words(name: str, change: float, expected: float, net: float, low: float, high: float) -> str:
    if low * high <= 0:
        told = "no clear change from neutral beyond the noise"
    else:
        told = f"{spoken(abs(net), 2, '°')} {'nearer to' if net < 0 else 'further from'} neutral beyond the noise"
    ends = f"{spoken(low, 2)} to {spoken(high, 2, '°')}"
    return (
        f"{_SEEN[name]} left {told} ({ends}): the distance changed by {spoken(change, 2, '°')}, of which "
        f"{spoken(expected, 2, '°')} would be expected with nothing changed."
    )


def _arrivals(rows: Rows) -> NDArray[np.bool_]:
    """The arrival captures that have a tilt."""
    return np.asarray((rows["capture_order"].astype(int) == 0) & np.isfinite(rows["tilt"].astype(float)))


def _ends(rows: Rows) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.int64], NDArray[np.generic]]:
    """Tilt at arrival and at the last capture of each knee recorded at both, its rider and its arrival direction."""
    tilt = rows["tilt"].astype(float)
    known = np.isfinite(tilt)
    knee, order = rows["session_knee"][known], rows["capture_order"][known].astype(int)
    ends_here = np.r_[knee[1:] != knee[:-1], True] if len(knee) else np.zeros(0, dtype=bool)
    starts_here = np.r_[True, knee[1:] != knee[:-1]] if len(knee) else np.zeros(0, dtype=bool)
    first, last = np.flatnonzero(starts_here), np.flatnonzero(ends_here)
    both = (order[first] == 0) & (last > first)
    first, last = first[both], last[both]
    values = tilt[known]
    return values[first], values[last], rows["rider"][known][first], rows["arrival_direction"][known][first]

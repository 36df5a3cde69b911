"""Nearer to neutral or further: by where the knee stood at arrival, with the expected regression to the mean taken off."""

from collections.abc import Iterator

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from dashboard.questions.effects.answers_effects import NeutralRow
from dashboard.questions.models.captures import Captures
from dashboard.questions.selection.levels import count_riders
from dashboard.questions.selection.numbers import spoken
from dashboard.questions.selection.scope import counted
from shared.settings import Settings
from shared.statistics.clustered.means import clustered_mean
from shared.statistics.regression_to_mean import expected_distance_change

DIRECTIONS = ("inward", "near neutral", "outward")
_SEEN = {
    "inward": "Knees that came inward",
    "near neutral": "Knees that came near neutral",
    "outward": "Knees that came outward",
}


def with_distance(captures: Captures, typical_error: float | None) -> Captures:
    """The captures with `off_neutral`, the distance of the tilt from neutral in degrees.

    At arrival, by which the direction is chosen, it is what a repeat capture would be expected to show: the regression to
    the mean is taken off there, so that it is not counted as the supports' doing. Without a typical error it stays.
    """
    tilt = captures.rows["tilt"]
    distance = np.abs(tilt)
    if typical_error is not None:
        arrival = (captures.rows["capture_order"] == 0) & np.isfinite(tilt)
        distance[arrival] += expected_distance_change(tilt[arrival], typical_error)
    return captures.with_column("off_neutral", distance)


def neutral_rows(captures: Captures, typical_error: float | None, settings: Settings) -> Iterator[NeutralRow]:
    """One row an arrival direction; without figures where there are too few knees or no typical error."""
    first, last, rider, direction = _ends(captures)
    expected = expected_distance_change(first, typical_error) if typical_error is not None and len(first) > 2 else None
    for name in DIRECTIONS:
        here = direction == name
        n_knees, n_riders = int(here.sum()), count_riders(rider[here])
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
    least, most = sorted((abs(low), abs(high)))
    if low * high <= 0:
        told = f"about as far from neutral as they came, the noise taken off ({spoken(low, 2)} to {spoken(high, 2, '°')})"
    else:
        far = "nearer to" if net < 0 else "further from"
        told = f"{spoken(abs(net), 2, '°')} {far} neutral beyond the noise ({spoken(least, 2)} to {spoken(most, 2, '°')})"
    return (
        f"{_SEEN[name]} left {told}: the distance changed by {spoken(change, 2, '°')}, of which "
        f"{spoken(expected, 2, '°')} would be expected with nothing changed."
    )


def _ends(captures: Captures) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.int64], pd.Categorical]:
    """Tilt at arrival and at the last capture of each knee recorded at both, its rider and its arrival direction."""
    known = captures.with_rows(np.isfinite(captures.rows["tilt"]))
    tilt, last = known.rows["tilt"], np.cumsum(known.n) - 1
    first = last - known.n + 1
    both = np.flatnonzero((known.rows["capture_order"][first] == 0) & (last > first))
    return tilt[first[both]], tilt[last[both]], known.rider[both], known.cells["arrival_direction"][both]

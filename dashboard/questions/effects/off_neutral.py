"""Nearer to neutral or further: by where the knee stood at arrival, with the expected regression to the mean taken off."""

from collections.abc import Iterator
from dataclasses import replace

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
from shared.statistics.multiplicity import in_family
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


def neutral_rows(captures: Captures, typical_error: float | None, settings: Settings) -> list[NeutralRow]:
    """One row an arrival direction, of which the three are one family; without figures where there are too few knees or no
    typical error. There is one estimate, so that its interval is told."""
    found = list(_found(captures, typical_error, settings))
    q_values = in_family([p_value for _, p_value in found])
    rows = [replace(row, q_value=q_value) for (row, _), q_value in zip(found, q_values, strict=True)]
    return [row if row.net_deg is None else replace(row, words=_words(row)) for row in rows]


def _found(captures: Captures, typical_error: float | None, settings: Settings) -> Iterator[tuple[NeutralRow, float | None]]:
    """The rows before their family is known, with the p-value of no change beyond the noise."""
    first, last, rider, direction = _ends(captures)
    expected = expected_distance_change(first, typical_error) if typical_error is not None and len(first) > 2 else None
    for name in DIRECTIONS:
        here = direction == name
        n_knees, n_riders = int(here.sum()), count_riders(rider[here])
        row = NeutralRow(name, n_knees, n_riders, None, None, None, None, None, "")
        if expected is None or n_knees < settings.minimum.rows_shown or n_riders < 2:
            words = f"{_SEEN[name]}: not enough yet, {counted(n_knees, 'knee')}"
            reason = ", and no repeat captures to know the noise from" if typical_error is None else ""
            yield replace(row, words=f"{words}{reason}."), None
            continue
        change = np.abs(last[here]) - np.abs(first[here])
        found = clustered_mean(change - expected[here], rider[here], settings.intervals.level)
        yield (
            replace(
                row,
                change_deg=float(change.mean()),
                expected_deg=float(expected[here].mean()),
                net_deg=found.estimate,
                net_low_deg=found.low,
                net_high_deg=found.high,
                told_low=found.low,
                told_high=found.high,
                told_by="net",
            ),
            found.p_value,
        )


def _words(row: NeutralRow) -> str:
    net, low, high = row.net_deg or 0.0, row.told_low or 0.0, row.told_high or 0.0
    least, most = sorted((abs(low), abs(high)))
    if row.direction:
        far = "nearer to" if row.direction < 0 else "further from"
        told = f"{spoken(abs(net), 2, '°')} {far} neutral beyond the noise ({spoken(least, 2)} to {spoken(most, 2, '°')})"
    else:
        told = f"about as far from neutral as they came, the noise taken off ({spoken(low, 2)} to {spoken(high, 2, '°')})"
    change, expected = spoken(row.change_deg or 0.0, 2, "°"), spoken(row.expected_deg or 0.0, 2, "°")
    return (
        f"{_SEEN[row.arrival_direction]} left {told}: the distance changed by {change}, of which "
        f"{expected} would be expected with nothing changed."
    )


def _ends(captures: Captures) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.int64], pd.Categorical]:
    """Tilt at arrival and at the last capture of each knee recorded at both, its rider and its arrival direction."""
    known = captures.with_rows(np.isfinite(captures.rows["tilt"]))
    tilt, last = known.rows["tilt"], np.cumsum(known.n) - 1
    first = last - known.n + 1
    both = np.flatnonzero((known.rows["capture_order"][first] == 0) & (last > first))
    return tilt[first[both]], tilt[last[both]], known.rider[both], known.cells["arrival_direction"][both]

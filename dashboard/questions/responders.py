"""Which share of knees was better, unchanged or worse at departure, by more than the smallest real change."""

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from dashboard.questions.answers import NoiseRow
from dashboard.questions.answers_effects import ResponderRow
from dashboard.questions.numbers import spoken, spoken_percent
from dashboard.questions.scope import counted
from dashboard.questions.supports import Rows
from shared.settings import Settings
from shared.statistics.clustered import Estimate, clustered_share
from shared.units import UNITS

RESPONSES = ("better", "unchanged", "worse")
_SPOKEN = {
    ("tilt", "better"): "left nearer to neutral by more than {limit}",
    ("tilt", "unchanged"): "left as far from neutral as they came, within {limit}",
    ("tilt", "worse"): "left further from neutral by more than {limit}",
    ("sway", "better"): "left with less sway by more than {limit}",
    ("sway", "unchanged"): "left with the sway they came with, within {limit}",
    ("sway", "worse"): "left with more sway by more than {limit}",
}


def responder_rows(rows: Rows, noise: NoiseRow, settings: Settings) -> Iterator[ResponderRow]:
    """The three shares of one outcome: tilt by its distance from neutral, sway by its size; smaller is better."""
    change, rider = _changes(rows, noise.outcome)
    total = len(change)
    for response in RESPONSES:
        if noise.mdc95 is None or total < settings.minimum.rows_shown or len(np.unique(rider)) < 2:
            words = f"{noise.outcome.capitalize()}: not enough yet, {counted(total, 'knee')} at both ends."
            yield ResponderRow(noise.outcome, response, 0.0, noise.unit, 0, total, None, None, None, words)
            continue
        events = {"better": change < -noise.mdc95, "worse": change > noise.mdc95}
        events["unchanged"] = ~(events["better"] | events["worse"])
        found = clustered_share(events[response].astype(float), rider, settings.intervals.level)
        n = int(events[response].sum())
        yield ResponderRow(
            noise.outcome, response, noise.mdc95, noise.unit, n, total, found.estimate, found.low, found.high,
            _words(noise, response, found),
        )  # fmt: skip


def _words(noise: NoiseRow, response: str, found: Estimate) -> str:
    limit = spoken(noise.mdc95 or 0.0, 1, UNITS[noise.unit].sign)
    interval = f"{spoken_percent(found.low)} to {spoken_percent(found.high)}; {counted(found.n, 'knee')}"
    return f"{spoken_percent(found.estimate)} of knees {_SPOKEN[noise.outcome, response].format(limit=limit)} ({interval})."


def _changes(rows: Rows, outcome: str) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Change from arrival to departure of each knee recorded at both, and its rider."""
    values = rows[outcome].astype(float)
    size = np.abs(values) if outcome == "tilt" else values
    arrival = (rows["is_arrival"].astype(bool)) & np.isfinite(size)
    departure = (rows["is_departure"].astype(bool)) & ~rows["is_arrival"].astype(bool) & np.isfinite(size)
    first = dict(zip(rows["session_knee"][arrival].tolist(), size[arrival].tolist(), strict=True))
    found = [
        (end - first[knee], rider)
        for knee, end, rider in zip(
            rows["session_knee"][departure].tolist(), size[departure].tolist(), rows["rider"][departure].tolist(), strict=True
        )
        if knee in first
    ]
    return np.array([change for change, _ in found]), np.array([rider for _, rider in found], dtype=np.int64)

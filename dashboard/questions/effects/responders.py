"""Which share of knees was better, unchanged or worse at departure, by more than the smallest real change."""

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from dashboard.questions.data.answers_noise import NoiseRow
from dashboard.questions.effects.answers_effects import ResponderRow
from dashboard.questions.models.captures import Captures
from dashboard.questions.selection.levels import count_riders
from dashboard.questions.selection.numbers import spoken, spoken_percent, spoken_percents
from dashboard.questions.selection.scope import counted
from shared.settings import Settings
from shared.statistics.clustered.means import Estimate, clustered_share
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


def responder_rows(captures: Captures, noise: NoiseRow, settings: Settings) -> Iterator[ResponderRow]:
    """The three shares of one outcome: tilt by its distance from neutral, sway by its size; smaller is better."""
    change, rider = _changes(captures, noise.outcome)
    total, n_riders = len(change), count_riders(rider)
    for response in RESPONSES:
        if noise.mdc95 is None or total < settings.minimum.rows_shown or n_riders < 2:
            reason = ", and no repeat captures to know the noise from" if noise.mdc95 is None else ""
            words = f"{noise.outcome.capitalize()}: not enough yet, {counted(total, 'knee')} at both ends{reason}."
            yield ResponderRow(noise.outcome, response, 0.0, noise.unit, 0, total, None, None, None, words, n_riders)
            continue
        events = {"better": change < -noise.mdc95, "worse": change > noise.mdc95}
        events["unchanged"] = ~(events["better"] | events["worse"])
        found = clustered_share(events[response].astype(float), rider, settings.intervals.level)
        n = int(events[response].sum())
        yield ResponderRow(
            noise.outcome, response, noise.mdc95, noise.unit, n, total, found.estimate, found.low, found.high,
            _words(noise, response, found), n_riders,
        )  # fmt: skip


def _words(noise: NoiseRow, response: str, found: Estimate) -> str:
    limit = spoken(noise.mdc95 or 0.0, 1, UNITS[noise.unit].sign)
    interval = f"{spoken_percents(found.low, found.high)}; {counted(found.n, 'knee')}"
    return f"{spoken_percent(found.estimate)} of knees {_SPOKEN[noise.outcome, response].format(limit=limit)} ({interval})."


def _changes(captures: Captures, outcome: str) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Change from arrival to departure of each knee recorded at both, and its rider."""
    size = np.abs(captures.rows[outcome]) if outcome == "tilt" else captures.rows[outcome]
    is_arrival = captures.rows["is_arrival"]
    ends = np.full((2, len(captures.n)), np.nan)
    for end, here in zip(ends, (is_arrival, captures.rows["is_departure"] & ~is_arrival), strict=True):
        end[captures.cell_of_row[here]] = size[here]
    change = ends[1] - ends[0]
    known = np.isfinite(change)
    return change[known], captures.rider[known]

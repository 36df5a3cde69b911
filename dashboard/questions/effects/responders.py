"""Which share of knees was better, unchanged or worse at departure, by more than the smallest real change."""

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from dashboard.questions.data.fitter_noise import FitterNoise
from dashboard.questions.effects.answers_effects import ResponderRow
from dashboard.questions.models.captures import Captures
from dashboard.questions.selection.levels import count_riders
from dashboard.questions.selection.numbers import spoken_percent, spoken_percents
from dashboard.questions.selection.scope import counted
from shared.settings import Settings
from shared.statistics.clustered.means import Estimate, clustered_share

RESPONSES = ("better", "unchanged", "worse")
_SPOKEN = {
    ("tilt", "better"): "left nearer to neutral by more than {limit}",
    ("tilt", "unchanged"): "left as far from neutral as they came, within {limit}",
    ("tilt", "worse"): "left further from neutral by more than {limit}",
    ("sway", "better"): "left with less sway by more than {limit}",
    ("sway", "unchanged"): "left with the sway they came with, within {limit}",
    ("sway", "worse"): "left with more sway by more than {limit}",
}


def responder_rows(
    captures: Captures, fitter: NDArray[np.int64], found: FitterNoise, settings: Settings
) -> Iterator[ResponderRow]:
    """The three shares of one outcome: tilt by its distance from neutral, sway by its size; smaller is better. fitter (cells,):
    the number of each knee's fitter, by whose noise it is judged."""
    noise = found.row
    change, known = _changes(captures, noise.outcome)
    rider, limit = captures.rider[known], found.limits(fitter[known])
    total, n_riders = len(change), count_riders(rider)
    for response in RESPONSES:
        if found.mdc95 is None or total < settings.minimum.rows_shown or n_riders < 2:
            reason = ", and no repeat captures to know the noise from" if found.mdc95 is None else ""
            words = f"{noise.outcome.capitalize()}: not enough yet, {counted(total, 'knee')} at both ends{reason}."
            yield ResponderRow(noise.outcome, response, 0.0, noise.unit, 0, total, None, None, None, words, n_riders)
            continue
        events = {"better": change < -limit, "worse": change > limit}
        events["unchanged"] = ~(events["better"] | events["worse"])
        share = clustered_share(events[response].astype(float), rider, settings.intervals.level)
        n = int(events[response].sum())
        yield ResponderRow(
            noise.outcome, response, found.mdc95, noise.unit, n, total, share.estimate, share.low, share.high,
            _words(found, response, share), n_riders,
        )  # fmt: skip


def _words(noise: FitterNoise, response: str, found: Estimate) -> str:
    told = _SPOKEN[noise.row.outcome, response].format(limit=noise.limit_words())
    interval = f"{spoken_percents(found.low, found.high)}; {counted(found.n, 'knee')}"
    return f"{spoken_percent(found.estimate)} of knees {told} ({interval})."


def _changes(captures: Captures, outcome: str) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """Change from arrival to departure of each knee recorded at both, and which knees these are (cells,)."""
    size = np.abs(captures.rows[outcome]) if outcome == "tilt" else captures.rows[outcome]
    is_arrival = captures.rows["is_arrival"]
    ends = np.full((2, len(captures.n)), np.nan)
    for end, here in zip(ends, (is_arrival, captures.rows["is_departure"] & ~is_arrival), strict=True):
        end[captures.cell_of_row[here]] = size[here]
    change = ends[1] - ends[0]
    known = np.isfinite(change)
    return change[known], known

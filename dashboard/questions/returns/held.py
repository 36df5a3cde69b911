"""What became of the fits whose window has closed: held, not held, seen and not measured, not seen; and what that says of
all."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from dashboard.questions.followed.held import BECAME, HELD, NOT_HELD, NOT_MEASURED, NOT_SEEN
from dashboard.questions.returns.answers_returns import HeldRow
from dashboard.questions.selection.levels import count_riders
from dashboard.questions.selection.numbers import spoken_percent, spoken_percents
from dashboard.questions.selection.scope import counted
from shared.errors import StatisticsError
from shared.settings import Settings
from shared.statistics.clustered.means import clustered_share
from shared.statistics.unseen import bounds_of_mean

ENDS: Final = (HELD, NOT_HELD, NOT_MEASURED, NOT_SEEN)
_WORDS: Final = {
    HELD: "held",
    NOT_HELD: "did not hold",
    NOT_MEASURED: "were seen again and not measured",
    NOT_SEEN: "were not seen again",
}


def held_rows(became: NDArray[np.int8], rider: NDArray[Any], settings: Settings, no_noise: str = "") -> Iterator[HeldRow]:
    """One row an end of the fits whose window has closed. became (n,): places in BECAME; rider (n,). no_noise: why the smallest
    real change is not known, without which no fit is told to have held or not."""
    level = settings.intervals.level
    for end in ENDS:
        is_end = became == BECAME.index(end)
        row = HeldRow(end, len(became), int(is_end.sum()), count_riders(rider[is_end]))
        if len(became) < settings.minimum.rows_shown:
            yield replace(row, words=f"Not enough yet, {counted(len(became), 'fit')}.")
            continue
        if no_noise and end in (HELD, NOT_HELD):
            yield replace(row, words=f"How many fits {_WORDS[end]} is not told: {no_noise}")
            continue
        try:
            share = clustered_share(is_end.astype(float), rider, level)
        except StatisticsError as refused:
            yield replace(row, words=str(refused))
            continue
        ends = spoken_percents(share.low, share.high)
        done = "were seen again" if no_noise and end == NOT_MEASURED else _WORDS[end]
        words = f"{row.n:,} of {counted(row.n_fits, 'fit')} {done}: {spoken_percent(share.estimate)} ({ends})."
        row = replace(row, share=share.estimate, low=share.low, high=share.high, words=words)
        yield _bounded(row, became, rider, level) if end == HELD else row


def _bounded(row: HeldRow, became: NDArray[np.int8], rider: NDArray[Any], level: float) -> HeldRow:
    """The share of all that held, if none of those of whom it is not known did, and if all of them did."""
    is_known = np.isin(became, [BECAME.index(HELD), BECAME.index(NOT_HELD)])
    if not is_known.any():
        return row
    bounds = bounds_of_mean(np.where(is_known, became == BECAME.index(HELD), np.nan), rider, (0.0, 1.0), level, is_share=True)
    return replace(
        row,
        bounds_low=bounds.low,
        bounds_high=bounds.high,
        chance_low=bounds.interval_low,
        chance_high=bounds.interval_high,
    )


def held_words(rows: Sequence[HeldRow], settings: Settings, no_noise: str = "") -> str:
    """Of all fits whose window has closed, how many held, did not, and are not known; the unseen are counted. no_noise: as in
    held_rows."""
    by_end = {row.became: row for row in rows}
    held, lost, blank, gone = (by_end[end] for end in ENDS)
    of = f"{counted(held.n_fits, 'fit')} whose {settings.follow_up.returned_within_days} days are over"
    if no_noise and blank.share is not None:
        return f"Of {of} {blank.n:,} were seen again and {gone.n:,} were not. Whether they held is not told: {no_noise}"
    if held.share is None or lost.share is None:
        return f"Whether fits held: not enough yet, {of}."
    n_unknown = blank.n + gone.n
    unknown = f", of {spoken_percent(n_unknown / held.n_fits)} it is not known" if n_unknown else ""
    words = f"{spoken_percent(held.share)} of fits held, {spoken_percent(lost.share)} did not{unknown}; of {of}"
    if not n_unknown:
        return f"{words} {held.n:,} held."
    words = f"{words} {gone.n:,} were not seen again and {blank.n:,} seen but not measured"
    if held.bounds_low is None or held.bounds_high is None:
        return f"{words}."
    return f"{words}, so that {spoken_percents(held.bounds_low, held.bounds_high)} of all held."

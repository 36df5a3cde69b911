"""A shim at the cleat turns the whole shoe, one in the shoe only the forefoot: what followed each, side by side."""

from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dashboard.questions.coaching.answers_agreement import ShimPlaceRow
from dashboard.questions.memory.side_by_side import side_by_side
from dashboard.questions.selection.levels import count_riders
from dashboard.questions.selection.numbers import spoken
from dashboard.questions.selection.scope import counted
from shared.errors import StatisticsError
from shared.settings import Settings
from shared.statistics.clustered.means import clustered_mean
from shared.statistics.group_difference import adjusted_difference
from shared.statistics.multiplicity import in_family
from shared.statistics.told import direction
from shared.units import UNITS

_OUTCOMES = (("tilt", "deg"), ("sway", "mm"))
_PLACES = {"in_shoe": "in the shoe", "at_cleat": "at the cleat"}


def shim_places(changes: Mapping[str, NDArray[Any]], settings: Settings, n_families: int = 1) -> Iterator[ShimPlaceRow]:
    """The mean change of tilt and sway for one more varus shim at each place, and the difference between the places.

    changes: the rows of agreement_shims.sql, in which nothing but the added shims differed. Both places suffer alike from
    choices by a noisy measurement, so the difference is told with more trust than either change. n_families: how many tables
    like this one the answer tells.
    """
    both = side_by_side(lambda outcome: list(_of_outcome(changes, *outcome, settings)), _OUTCOMES, len(changes["rider"]))
    rows = [row for rows in both for row in rows]
    q_values = in_family([row.p_value for row in rows], n_families)
    for row, q_value in zip(rows, q_values, strict=True):
        is_unclear = row.p_value is not None and not direction(row.low, row.high, q_value)
        words = f"{row.words.removesuffix('.')}: no clear difference." if is_unclear else row.words
        yield replace(row, q_value=q_value, words=words)


def _of_outcome(changes: Mapping[str, NDArray[Any]], outcome: str, unit: str, settings: Settings) -> Iterator[ShimPlaceRow]:
    known = np.isfinite(changes[outcome])
    values, rider = changes[outcome][known], changes["rider"][known]
    at_cleat, sign = changes["is_at_cleat"][known].astype(bool), UNITS[unit].sign
    n_riders = {}
    for name, told in _PLACES.items():
        here = at_cleat == (name == "at_cleat")
        n_riders[name] = count_riders(rider[here])
        row = ShimPlaceRow(outcome, unit, name, int(here.sum()), n_riders[name], None, None, None, "")
        if n_riders[name] < settings.minimum.riders_shown:
            changed = f"{counted(row.n_changes, 'change')} of {counted(row.n_riders, 'rider')}"
            yield replace(row, words=f"A shim {told}: not enough yet, {changed} with nothing else changed.")
            continue
        found = clustered_mean(values[here], rider[here], settings.intervals.level)
        words = (
            f"After one more varus shim {told}, {outcome} changed by {spoken(found.estimate, 2, sign)} on average "
            f"({spoken(found.low, 2)} to {spoken(found.high, 2, sign)}; {counted(row.n_changes, 'change')}), part of it "
            "the noise that led to it."
        )
        yield replace(row, per_shim=found.estimate, low=found.low, high=found.high, words=words)
    row = ShimPlaceRow(outcome, unit, "difference", len(values), count_riders(rider), None, None, None, "")
    if min(n_riders.values()) < settings.minimum.riders_shown:
        yield replace(row, words="The two places cannot be compared yet.")
        return
    yield _difference(row, values, at_cleat, rider, settings)


def _difference(
    row: ShimPlaceRow,
    values: np.ndarray[tuple[int], np.dtype[np.float64]],
    at_cleat: np.ndarray[tuple[int], np.dtype[np.bool_]],
    rider: np.ndarray[tuple[int], np.dtype[np.int64]],
    settings: Settings,
) -> ShimPlaceRow:
    try:
        found = adjusted_difference(values, at_cleat, np.empty((len(values), 0)), rider, settings.intervals.level)
    except StatisticsError as error:
        return replace(row, words=str(error))
    sign = UNITS[row.unit].sign
    words = (
        f"The change of {row.outcome} was {spoken(abs(found.estimate), 2, sign)} {'lower' if found.estimate < 0 else 'higher'} "
        f"at the cleat than in the shoe "
        f"({spoken(found.low, 2)} to {spoken(found.high, 2, sign)})."
    )
    return replace(row, per_shim=found.estimate, low=found.low, high=found.high, words=words, p_value=found.p_value)

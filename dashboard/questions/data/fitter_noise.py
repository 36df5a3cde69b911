"""Whose captures scatter more: each fitter's noise from repeats, and the smallest real change that each of their fits is judged
by."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from dashboard.questions.data.answers_noise import NoiseRow
from dashboard.questions.selection.numbers import spoken
from shared.errors import StatisticsError
from shared.settings import Settings
from shared.statistics.agreement import MDC_FACTOR, typical_error
from shared.statistics.spreads import shrunken_spreads
from shared.units import UNITS

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True)
class OwnNoise:
    """One fitter's captures beside the others': the ratio of their typical errors with interval and q-value, and the smallest
    real change that the fitter's fits are judged by."""

    mdc95: float
    ratio: float
    ratio_low: float
    ratio_high: float
    q_value: float


@dataclass(frozen=True)
class FitterNoise:
    """One outcome's noise: `row` of all repeats; mdc95: the smallest real change of fitters without one of their own, None
    where none is known; own: of each fitter with pairs enough, by number; differs: whether fitters are judged by their own."""

    row: NoiseRow
    mdc95: float | None
    own: Mapping[int, OwnNoise] = field(default_factory=dict)
    differs: bool = False

    def limits(self, fitter: Ints) -> Floats:
        """The smallest real change of each fit's own fitter (n,); fitter (n,): numbers. NaN where none is known."""
        found = np.full(len(fitter), np.nan if self.mdc95 is None else self.mdc95)
        if self.differs:
            for number, own in self.own.items():
                found[fitter == number] = own.mdc95
        return found

    def limit_words(self) -> str:
        """The smallest real change in words: one, or from the least to the most of the fitters'."""
        sign = UNITS[self.row.unit].sign
        if not self.differs:
            return spoken(self.mdc95 or 0.0, 1, sign)
        limits = [self.mdc95 or 0.0, *(own.mdc95 for own in self.own.values())]
        return f"their fitter's own noise ({spoken(min(limits), 1)} to {spoken(max(limits), 1, sign)})"


def fitter_noise(row: NoiseRow, differences: Floats, rider: Ints, fitter: Ints, settings: Settings) -> FitterNoise:
    """The noise of one outcome from the differences (n,) of its repeat pairs, with rider and fitter by number; row: of all.

    Where fitters' typical errors differ by more than chance, each fitter with pairs enough has their own, drawn toward the
    whole; the others have the usual one, which no single fitter's noise carries away.
    """
    present = np.isfinite(differences)
    differences, rider, fitter = differences[present].astype(float), rider[present], fitter[present]
    numbers, n_pairs = np.unique(fitter, return_counts=True)
    found = {}
    for number in numbers[n_pairs >= settings.noise.pairs_per_fitter].tolist():
        try:
            own = typical_error(differences[fitter == number], settings.intervals.level, rider[fitter == number])
        except StatisticsError:
            continue
        if own.typical_error > 0:
            found[int(number)] = own
    if row.mdc95 is None or len(found) < 2:
        return FitterNoise(row, row.mdc95)
    errors, df = (np.array([getattr(one, name) for one in found.values()]) for name in ("typical_error", "df"))
    told = shrunken_spreads(errors, df, settings.intervals.level, settings.noise.most_drawn_errors)
    differs = told.p_value < 1 - settings.intervals.level
    mdc95 = (MDC_FACTOR * told.sd).tolist() if differs else [row.mdc95] * len(found)
    columns = zip(
        mdc95, *(getattr(told, name).tolist() for name in ("ratio", "ratio_low", "ratio_high", "q_value")), strict=True
    )
    each = {number: OwnNoise(*values) for number, values in zip(found, columns, strict=True)}
    return FitterNoise(row, MDC_FACTOR * told.usual if differs else row.mdc95, each, differs)


def scatters_more(own: OwnNoise, settings: Settings) -> bool:
    """Whether it is told that the fitter's captures scatter more than the others'."""
    return own.ratio_low > 1 and own.q_value < settings.noise.told_below_q


def more_words(fitter: str, outcome: str, own: OwnNoise) -> str:
    """As in: F03's captures scatter more in tilt than the others', 1.8 to 3.1 times. …"""
    return (
        f"{fitter}'s captures scatter more in {outcome} than the others', {own.ratio_low:.1f} to {own.ratio_high:.1f} times. "
        "That is a matter of measuring (markers, warm-up, the camera's place), and no verdict on the fits."
    )

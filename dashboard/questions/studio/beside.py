"""What changed beside a signal: the riders who came, who fitted them, and how noisy the measuring was."""

from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dashboard.questions.selection.calendar import period_of
from dashboard.questions.selection.levels import count_riders
from dashboard.questions.selection.numbers import spoken, spoken_percent, spoken_percents
from dashboard.questions.studio.answers_trends import BesideRow, SignalRow
from shared.errors import StatisticsError
from shared.settings import Settings
from shared.statistics.agreement import typical_error
from shared.statistics.clustered.means import clustered_mean, clustered_share
from shared.units import UNITS

Rows = dict[str, NDArray[Any]]
Periods = NDArray[np.int64]
# A figure with the ends of its interval; None: not enough rows.
Figure = tuple[float | None, float | None, float | None]
_NONE: Figure = (None, None, None)

# Name, unit, column of the fits (none: the repeat pairs of tilt) and sentence.
_FIGURES = (
    ("tilt_arrival", "deg", "off_neutral_arrival_deg", "Knees arrived {here} from neutral, {base} in the base period."),
    ("sway_arrival", "mm", "sway_arrival_mm", "Knees arrived with a sway of {here}, {base} in the base period."),
    ("first_fits", "share", "is_first", "{here} of fits were first fits, {base} in the base period."),
    ("typical_error_tilt", "deg", "", "The typical error of a knee's tilt was {here}, {base} in the base period."),
)


class Beside:
    """Case mix, fitter mix and measuring noise over any periods; what was summed once is remembered."""

    def __init__(self, fits: Rows, pairs: Mapping[str, NDArray[Any]], fitters: list[str], settings: Settings) -> None:
        self._settings = settings
        self._fits, self._pairs = fits, pairs
        self._fit_period = period_of(fits["day"], settings.trends.every)
        self._pair_period = period_of(pairs["day"], settings.trends.every)
        present = np.unique(fits["fitter"])
        self._fitters = [fitters[number] for number in present]
        self._fitter_code = np.searchsorted(present, fits["fitter"])
        self._summaries: dict[tuple[int, ...], tuple[list[Figure], NDArray[np.float64]]] = {}

    def rows(self, signal: SignalRow, base: Periods, here: Periods) -> Iterator[BesideRow]:
        """What the signal's periods (`here`) look like against those of the base period."""
        (figures_base, fitters_base), (figures_here, fitters_here) = self._summary(base), self._summary(here)
        for (beside, unit, _, words), then, now in zip(_FIGURES, figures_base, figures_here, strict=True):
            yield _beside_row(signal, beside, unit, then, now, words)
        yield _fitter_mix(signal, self._fitters, fitters_base, fitters_here)

    def _summary(self, periods: Periods) -> tuple[list[Figure], NDArray[np.float64]]:
        """The figures of _FIGURES and the number of fits of each fitter."""
        key = tuple(periods.tolist())
        if key not in self._summaries:
            inside, paired = np.isin(self._fit_period, periods), np.isin(self._pair_period, periods)
            rider = self._fits["rider"][inside]
            figures = [
                _mean(self._fits[column][inside].astype(float), rider, unit, self._settings)
                if column
                else _noise(self._pairs["tilt"][paired].astype(float), self._pairs["rider"][paired], self._settings)
                for _, unit, column, _ in _FIGURES
            ]
            counts = np.bincount(self._fitter_code[inside], minlength=len(self._fitters)).astype(float)
            self._summaries[key] = figures, counts
        return self._summaries[key]


def _mean(values: NDArray[np.float64], rider: NDArray[Any], unit: str, settings: Settings) -> Figure:
    known = np.isfinite(values)
    values, rider = values[known], rider[known]
    if len(values) < settings.minimum.rows_shown or count_riders(rider) < 2:
        return _NONE
    compute = clustered_share if unit == "share" else clustered_mean
    mean = compute(values, rider, settings.intervals.level)
    return mean.estimate, mean.low, mean.high


def _noise(differences: NDArray[np.float64], rider: NDArray[Any], settings: Settings) -> Figure:
    known = np.isfinite(differences)
    differences, rider = differences[known], rider[known]
    if len(differences) < settings.minimum.rows_shown:
        return _NONE
    try:
        agreement = typical_error(differences, settings.intervals.level, rider)
    except StatisticsError:
        return _NONE
    return agreement.typical_error, agreement.typical_error_low, agreement.typical_error_high


def _beside_row(signal: SignalRow, beside: str, unit: str, base: Figure, here: Figure, words: str) -> BesideRow:
    sentence = words.format(base=_written(base, unit), here=_written(here, unit))
    return BesideRow(signal.figure, signal.rule, signal.period_from, beside, unit, *base, *here, sentence)


def _written(figure: Figure, unit: str) -> str:
    value, low, high = figure
    if value is None or low is None or high is None:
        return "(not enough yet)"
    if unit == "share":
        return f"{spoken_percent(value)} ({spoken_percents(low, high)})"
    sign = UNITS[unit].sign
    return f"{spoken(value, 2, sign)} ({spoken(low, 2)} to {spoken(high, 2)})"


def _fitter_mix(signal: SignalRow, fitters: list[str], base: NDArray[np.float64], here: NDArray[np.float64]) -> BesideRow:
    """The share of fits that would have to change hands for the mix to be the base period's: half the summed gaps."""
    start = (signal.figure, signal.rule, signal.period_from, "fitter_mix", "share")
    if base.sum() == 0 or here.sum() == 0:
        return BesideRow(*start, *_NONE, *_NONE, "The mix of fitters: not enough yet.")
    before, now = base / base.sum(), here / here.sum()
    most = int(np.argmax(np.abs(now - before)))
    moved = float(np.abs(now - before).sum() / 2)
    words = (
        f"{spoken_percent(moved)} of fits went to other fitters than in the base period; the widest step is {fitters[most]}, "
        f"{spoken_percent(before[most])} then and {spoken_percent(now[most])} here."
    )
    return BesideRow(*start, 0.0, None, None, moved, None, None, words)

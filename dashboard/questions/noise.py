"""How much does a knee differ from itself when nothing was changed?"""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from dashboard.questions.answers import Noise, NoiseRow
from dashboard.questions.numbers import spoken
from dashboard.questions.scope import SQL, Scope, counted, fragments, scope_of
from dashboard.questions.selection import Selection
from shared.settings import Settings
from shared.statistics.agreement import RepeatAgreement, typical_error
from shared.units import UNITS
from shared.warehouse import Warehouse

OUTCOME_UNITS = {"tilt": "deg", "sway": "mm", "offset": "mm"}

METHOD = {
    "pairs": "consecutive captures of one knee in one session with the same setup",
    "typical_error": "SD of the differences / sqrt(2)",
    "mdc95": "1.96 * sqrt(2) * typical error",
}


def ask(warehouse: Warehouse, selection: Selection, settings: Settings) -> Noise:
    """Typical error, smallest real change and drift of each outcome from repeat captures."""
    scope = scope_of(warehouse, selection, settings)
    scope.require_fits()
    rows = rows_of(warehouse, scope, settings)
    return Noise(scope.as_of, selection.as_dict(), scope.words, METHOD, rows[0].words, rows)


def rows_of(warehouse: Warehouse, scope: Scope, settings: Settings) -> tuple[NoiseRow, ...]:
    """The rows of every outcome over a scope, for the questions that need the noise."""
    pairs = warehouse.arrays(SQL / "noise_pairs.sql", scope.parameters, **fragments())
    return tuple(noise_row(outcome, pairs[outcome], pairs["rider"], settings) for outcome in OUTCOME_UNITS)


def noise_row(outcome: str, differences: NDArray[np.float64], rider: NDArray[np.int64], settings: Settings) -> NoiseRow:
    """One outcome's row from the differences of its repeat pairs; without figures where there are too few."""
    unit = OUTCOME_UNITS[outcome]
    present = np.isfinite(differences)
    differences, n_riders = differences[present], len(np.unique(rider[present]))
    row = NoiseRow(outcome, unit, len(differences), n_riders, None, None, None, None, None, None, None, None, None, "")
    if len(differences) < settings.minimum.rows_shown:
        pairs = counted(len(differences), "repeat pair")
        words = f"{outcome.capitalize()}: not enough yet, {pairs}. Record a knee twice before a change to learn its noise."
        return replace(row, words=words)
    found = typical_error(differences, settings.intervals.level)
    return replace(
        row,
        typical_error=found.typical_error,
        typical_error_low=found.typical_error_low,
        typical_error_high=found.typical_error_high,
        mdc95=found.mdc95,
        mean_drift=found.mean_difference,
        mean_drift_low=found.mean_difference_low,
        mean_drift_high=found.mean_difference_high,
        limit_low=found.limit_low,
        limit_high=found.limit_high,
        words=_words(outcome, unit, found),
    )


def _words(outcome: str, unit: str, found: RepeatAgreement) -> str:
    sign = UNITS[unit].sign
    return (
        f"A knee's {outcome} differs from itself by a typical error of {spoken(found.typical_error, 2, sign)} "
        f"({spoken(found.typical_error_low, 2)} to {spoken(found.typical_error_high, 2, sign)}, "
        f"{counted(found.n_pairs, 'repeat pair')}); a single knee has surely changed only beyond {spoken(found.mdc95, 1, sign)}."
    )

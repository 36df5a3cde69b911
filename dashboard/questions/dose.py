"""Is the effect a straight line: the mean effect of each whole dose of shims and of stance against none."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dashboard.questions.answers_effects import DoseRow
from dashboard.questions.effect_models import OUTCOMES, Fits, fit_design
from dashboard.questions.numbers import spoken
from dashboard.questions.scope import counted
from dashboard.questions.supports import Counts, Design, Rows, SupportColumn, build_design, change_counts
from shared.errors import StatisticsError
from shared.settings import Settings
from shared.statistics.bracket import bracket_of
from shared.statistics.wald import wald_p_value
from shared.units import UNITS

DOSES = {"shim": ("total_shims", "shims", 1.0), "stance": ("stance_mm", "mm", 2.0)}


@dataclass(frozen=True)
class _Dose:
    support: str
    size: float
    counts: Counts

    @property
    def term(self) -> str:
        return f"{self.support} at {self.size:g}"


def dose_rows(rows: Rows, outcome: str, overall: Fits | None, settings: Settings) -> Iterator[DoseRow]:
    """One row a dose that was changed to or from often enough; the straight line is the overall effect times the dose."""
    if overall is None:
        return
    present = np.isfinite(rows[outcome].astype(float))
    kept = {name: column[present] for name, column in rows.items()}
    for support in DOSES:
        if support in overall.within_table and support in overall.pooled_table:
            yield from _rows_of(kept, outcome, support, overall, settings)


def _rows_of(rows: Rows, outcome: str, support: str, overall: Fits, settings: Settings) -> Iterator[DoseRow]:
    doses, matrix = _steps(rows, support)
    fits, bend = None, None
    enough = [dose for dose in doses if dose.counts.n_changes >= settings.minimum.changes_per_type]
    if len(enough) >= 2:
        try:
            fits = fit_design(_design(rows, support, doses, matrix), rows[outcome].astype(float), rows, settings)
            bend = _bend(fits, enough)
        except StatisticsError:
            # The doses cannot be told apart here; their counts are shown without figures.
            fits = None
    slope = overall.pooled_table[support].estimate
    for dose in doses:
        yield _row(outcome, dose, fits if dose in enough else None, slope, bend)


def _steps(rows: Rows, support: str) -> tuple[list[_Dose], NDArray[np.float64]]:
    """Each dose that occurs, none left out as the reference; stance in steps of 2 mm."""
    column, _, step = DOSES[support]
    size = np.round(rows[column].astype(float) / step) * step
    sizes = [float(value) for value in np.unique(size) if value != 0]
    matrix = np.column_stack([(size == value).astype(float) for value in sizes]) if sizes else np.empty((len(size), 0))
    doses = [_Dose(support, value, change_counts(matrix[:, index], rows)) for index, value in enumerate(sizes)]
    return doses, matrix


def _design(rows: Rows, support: str, doses: list[_Dose], matrix: NDArray[np.float64]) -> Design:
    plain = build_design(rows, None)
    others = [index for index, column in enumerate(plain.columns) if column.support != support]
    return Design(
        columns=(*(SupportColumn(dose.term, None) for dose in doses), *(plain.columns[index] for index in others)),
        supports=np.column_stack([matrix, plain.supports[:, others]]),
        pooled_others=plain.pooled_others,
        pooled_terms=plain.pooled_terms,
        within_others=plain.within_others,
        within_terms=plain.within_terms,
        counts=(*(dose.counts for dose in doses), *(plain.counts[index] for index in others)),
    )


def _bend(fits: Fits, doses: list[_Dose]) -> float | None:
    """The p-value of no bend: effects against the line through none, on the within-knee fit."""
    known = [dose for dose in doses if dose.term in fits.within.terms]
    if len(known) < 2:
        return None
    places = [fits.within.terms.index(dose.term) for dose in known]
    size = np.array([dose.size for dose in known])
    estimate = fits.within.estimate[places]
    covariance = fits.within.robust_covariance[np.ix_(places, places)]
    # Every contrast of the effects that a straight line through none makes zero.
    contrasts = np.linalg.svd(size[None, :])[2][1:]
    df = float(np.min(fits.within.df[places]))
    return wald_p_value(contrasts @ estimate, contrasts @ covariance @ contrasts.T, df)


def _row(outcome: str, dose: _Dose, fits: Fits | None, slope: float, bend: float | None) -> DoseRow:
    unit, dose_unit = OUTCOMES[outcome], DOSES[dose.support][1]
    line = slope * dose.size
    none = (None,) * 8
    counts = (dose.counts.n_riders, dose.counts.n_changes)
    known = fits is not None and dose.term in fits.within_table and dose.term in fits.pooled_table
    if fits is None or not known or fits.within_table[dose.term].df <= 0:
        found_counts = f"{counted(dose.counts.n_changes, 'change')} in {counted(dose.counts.n_riders, 'rider')}"
        words = f"{_dose_words(dose)}: not enough yet, {found_counts}."
        return DoseRow(outcome, dose.support, unit, dose.size, dose_unit, *counts, *none, line, bend, words)
    pooled, within = fits.pooled_table[dose.term], fits.within_table[dose.term]
    found = bracket_of(fits.pooled, fits.within, dose.term, fits.level)
    sign = UNITS[unit].sign
    words = (
        f"{_dose_words(dose)}: {spoken(found.low, 2)} to {spoken(found.high, 2, sign)} against none; "
        f"the straight line says {spoken(line, 2, sign)}."
    )
    figures = (pooled.estimate, pooled.low, pooled.high, within.estimate, within.low, within.high, found.low, found.high)
    return DoseRow(outcome, dose.support, unit, dose.size, dose_unit, *counts, *figures, line, bend, words)


def _dose_words(dose: _Dose) -> str:
    if dose.support == "shim":
        return f"{spoken(dose.size, 0)} shim{'' if abs(dose.size) == 1 else 's'} in all"
    return f"{spoken(dose.size, 0)} mm of stance"

"""Is the effect a straight line: the mean effect of each whole dose of shims and of stance against none."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from dashboard.questions.effects.answers_effects import DoseRow
from dashboard.questions.memory.side_by_side import side_by_side
from dashboard.questions.models.captures import Captures
from dashboard.questions.models.effect_models import OUTCOMES, Fits, fit_design
from dashboard.questions.models.frames import STANCE_STEP_MM, Frame, Varying, frame_of
from dashboard.questions.models.supports import Counts, build_design, counts_of
from dashboard.questions.selection.numbers import spoken
from dashboard.questions.selection.scope import counted
from shared.errors import StatisticsError
from shared.settings import Settings
from shared.statistics.multiplicity import in_family
from shared.statistics.told import ROUGH_BELOW_DF, told_interval
from shared.statistics.wald import wald_p_value
from shared.units import UNITS

_STEPS = "steps"
DOSES = {"shim": ("total_shims", "shims", 1.0), "stance": ("stance_mm", "mm", STANCE_STEP_MM)}


@dataclass(frozen=True)
class FoundDose:
    """A dose before its family is known, with the larger p-value of both estimates where it has figures."""

    row: DoseRow
    p_value: float | None = None


@dataclass(frozen=True)
class _Dose:
    support: str
    size: float
    counts: Counts

    @property
    def term(self) -> str:
        return _term(self.support, self.size)


def _term(support: str, size: float) -> str:
    return f"{support} at {size:g}"


def dose_rows(
    frame: Frame, slopes: Mapping[str, float], settings: Settings, begun: Mapping[str, float] | None = None
) -> list[FoundDose]:
    """One row a dose that was changed to or from often enough, of each support with an overall effect; the straight line is
    that effect (slopes) times the dose. frame: of the standard columns; begun: as in fit_design."""
    told = [support for support in DOSES if support in slopes]
    # Two fits of two supports share nothing: side by side where captures are many.
    rows = side_by_side(
        lambda support: list(_rows_of(frame, support, slopes[support], settings, begun)), told, len(frame.captures)
    )
    return [row for of_support in rows for row in of_support]


def in_families(found: Sequence[FoundDose], price: float = 1.0) -> list[DoseRow]:
    """The doses of an outcome with their q-values: the doses are one family, and the tests of the straight line another;
    price: as in in_family."""
    bends = {(one.row.outcome, one.row.support): one.row.line_p_value for one in found}
    bent = dict(zip(bends, in_family(list(bends.values()), price), strict=True))
    q_values = in_family([one.p_value for one in found], price)
    return [
        replace(one.row, q_value=q_value, line_q_value=bent[one.row.outcome, one.row.support])
        for one, q_value in zip(found, q_values, strict=True)
    ]


def _rows_of(
    whole: Frame, support: str, slope: float, settings: Settings, begun: Mapping[str, float] | None
) -> Iterator[FoundDose]:
    outcome, captures = whole.outcome, _with_steps(whole.captures, support)
    # The doses that occur, none left out as the reference.
    steps = [step for step in _occurring(captures.rows[_STEPS]) if step != 0]
    sizes = [step * DOSES[support][2] for step in steps]
    columns = tuple(_at(support, size, step) for size, step in zip(sizes, steps, strict=True))
    others = tuple(column for column in whole.columns if column.of != support)
    frame = frame_of(captures, outcome, (*columns, *others), is_by_rider=True)
    doses = [_Dose(support, size, counts_of(frame, place)) for place, size in enumerate(sizes)]
    fits, bend = None, None
    enough = [dose for dose in doses if dose.counts.n_changes >= settings.minimum.changes_per_type]
    if len(enough) >= 2:
        try:
            fits = fit_design(build_design(frame, None), settings, begun, {dose.term for dose in enough})
            bend = _bend(fits, enough)
        except StatisticsError:
            # The doses cannot be told apart here; their counts are shown without figures.
            fits = None
    least = settings.minimum.changes_per_type
    for dose in doses:
        is_enough = dose in enough
        lacking = (
            f"a dose needs {least} changes" if not is_enough
            else f"doses are told once two of one support have {least} changes" if len(enough) < 2
            else "they cannot be told from those of others"
        )  # fmt: skip
        yield _dose_row(outcome, dose, fits if is_enough else None, slope, bend, lacking)


def _with_steps(captures: Captures, support: str) -> Captures:
    """The captures with the dose of each row in whole steps: shims, or 2 mm of stance."""
    column, _, step = DOSES[support]
    return captures.with_column(_STEPS, np.round(captures.rows[column].astype(float) / step).astype(np.int64))


def _occurring(steps: NDArray[np.int64]) -> list[int]:
    lowest = int(steps.min(initial=0))
    return [int(place) + lowest for place in np.flatnonzero(np.bincount(steps - lowest))]


def _at(support: str, size: float, step: int) -> Varying:
    return Varying(_term(support, size), None, lambda captures: (captures.rows[_STEPS] == step).astype(float))


def _bend(fits: Fits, doses: list[_Dose]) -> float | None:
    """The p-value of no bend: it tests the doses, in the within-knee fit, against a straight line through zero."""
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


def _dose_row(outcome: str, dose: _Dose, fits: Fits | None, slope: float, bend: float | None, lacking: str) -> FoundDose:
    """lacking: why it has no figure where there are no fits."""
    unit, dose_unit = OUTCOMES[outcome], DOSES[dose.support][1]
    line = slope * dose.size
    none = (None,) * 8
    counts = (dose.counts.n_riders, dose.counts.n_changes)
    known = fits is not None and dose.term in fits.within_table and dose.term in fits.pooled_table
    if fits is None or not known or fits.within_table[dose.term].df <= 0:
        changed = f"{counted(dose.counts.n_changes, 'change')} in {counted(dose.counts.n_riders, 'rider')}"
        words = f"{_dose_words(dose)}: not enough yet, {changed}; {lacking}."
        return FoundDose(DoseRow(outcome, dose.support, unit, dose.size, dose_unit, *counts, *none, line, bend, words))
    pooled, within = fits.pooled_table[dose.term], fits.within_table[dose.term]
    outer = fits.bracketed(dose.term)
    span = told_interval(outer.low, outer.high)
    sign = UNITS[unit].sign
    words = (
        f"{_dose_words(dose)}: {spoken(span.low, 2)} to {spoken(span.high, 2, sign)} against none; "
        f"the straight line says {spoken(line, 2, sign)}."
    )
    figures = (pooled.estimate, pooled.low, pooled.high, within.estimate, within.low, within.high, outer.low, outer.high)
    row = DoseRow(
        outcome, dose.support, unit, dose.size, dose_unit, *counts, *figures, line, bend, words,
        told_low=span.low, told_high=span.high, told_by=span.by, is_rough=min(pooled.df, within.df) < ROUGH_BELOW_DF,
    )  # fmt: skip
    return FoundDose(row, max(pooled.p_value, within.p_value))


def _dose_words(dose: _Dose) -> str:
    if dose.support == "shim":
        return f"{spoken(dose.size, 0)} shim{'' if abs(dose.size) == 1 else 's'} in all"
    return f"{spoken(dose.size, 0)} mm of stance"

"""One outcome's model turned toward what comes next: fixed parts with the told effects, variances, expected captures."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from dashboard.questions.foresight.by_type import ByType, by_type, types_of
from dashboard.questions.foresight.targets import Targets
from dashboard.questions.models.captures import Captures
from dashboard.questions.models.effect_models import fitted
from dashboard.questions.models.frames import SUPPORTS, Frame, Varying, support_columns
from dashboard.questions.models.supports import exam_columns
from shared.errors import TooFewError
from shared.settings import Settings
from shared.statistics.foresight.expected import Expected, Unsure, Variances, expected

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True)
class Missing:
    """What stands for a part of the exam that is not known: its mean over feet of which it is, and its variance."""

    mean: float
    variance: float


@dataclass(frozen=True)
class _Part:
    """What a part of the exam adds to the fixed part of each cell, and where it is not known, each (cells,)."""

    value: Floats
    is_missing: Flags


def _parts(captures: Captures, terms: Mapping[str, float]) -> dict[str, _Part]:
    """Each part of the exam, the visit's kind and the intercept by the first word of their columns' names."""
    values: dict[str, Floats] = {}
    missing: dict[str, Flags] = {}
    for name, column in exam_columns(captures, 0.0):
        part, _, what = name.partition(" ")
        added = values.setdefault(part, np.zeros(len(column)))
        if what.startswith("not "):
            missing[part] = column
        else:
            added += terms.get(name, 0.0) * column
    nowhere = np.zeros(len(captures.n), dtype=bool)
    return {part: _Part(value, missing.get(part, nowhere)) for part, value in values.items()}


def _missing(captures: Captures, terms: Mapping[str, float]) -> dict[str, Missing]:
    """What stands for each part where it is not known; nothing where it is known of no foot."""
    found = {}
    for name, part in _parts(captures, terms).items():
        known = part.value[~part.is_missing]
        found[name] = Missing(float(known.mean()), float(known.var())) if len(known) else Missing(0.0, 0.0)
    return found


@dataclass(frozen=True)
class Foreseer:
    """What one outcome's captures foresee with.

    columns: of the supports and of what they are held for; terms: the estimate of every term of the pooled model; missing: what
    stands for a part of the exam that is not known. effect, error (supports,): the middle of each support's told interval and
    its standard error, NaN where nothing is known of it; by_type: how much further it goes on feet of each type; low, high
    (supports,): the least and most of each that was seen.
    ratios: of the variances of rider, knee and visit to that of a capture.
    """

    outcome: str
    columns: tuple[Varying, ...]
    terms: Mapping[str, float]
    effect: Floats
    error: Floats
    by_type: ByType
    low: Floats
    high: Floats
    variances: Variances
    ratios: Mapping[str, float]
    missing: Mapping[str, "Missing"]

    def fixed(self, captures: Captures) -> tuple[Floats, Floats]:
        """The fixed part of each row (rows,) of captures, with the told effects; unknown ones count as none. And its
        variance in each cell (cells,) for what is not known of the exam."""
        of_cell, unsure = np.zeros(len(captures.n)), np.zeros(len(captures.n))
        for name, part in _parts(captures, self.terms).items():
            stands_for = self.missing[name]
            of_cell += np.where(part.is_missing, stands_for.mean, part.value)
            unsure += np.where(part.is_missing, stands_for.variance, 0.0)
        fixed = of_cell[captures.cell_of_row]
        effects = np.nan_to_num(self.effect + self.by_type.further)
        row = self.by_type.rows_of(types_of(captures))[captures.cell_of_row]
        for column in self.columns:
            if column.of in SUPPORTS:
                fixed += effects[row, SUPPORTS.index(column.of)] * column.values(captures)
            elif slope := self.terms.get(column.term, 0.0):
                fixed += slope * column.values(captures)
        return fixed, unsure

    def unsure_of(self, change: Floats, types: NDArray[np.object_]) -> Floats:
        """The variance (n,) of what changes (n, supports) on feet of these types (n,) do: effects are known with an error."""
        return np.asarray(
            (change**2 * np.nan_to_num(self.error**2 + self.by_type.variance)[self.by_type.rows_of(types)]).sum(axis=1)
        )

    def foresee(self, captures: Captures, targets: Targets) -> Expected:
        """What each target is expected to measure, from what was measured before the change."""
        fixed, unsure = self.fixed(captures)
        before = targets.before(captures.rows[self.outcome] - fixed)
        of_change = self.unsure_of(targets.change, types_of(captures)[targets.cell])
        other = np.where(targets.other >= 0, unsure[targets.other], 0.0)
        return expected(fixed[targets.row], before, self.variances, Unsure(of_change, unsure[targets.cell], other))

    def is_beyond(self, captures: Captures, targets: Targets) -> Flags:
        """Which targets (n,) stand beyond what was seen: a changed support of which nothing is known, or more or less of one
        than any capture had."""
        values = np.column_stack([column.values(captures)[targets.row] for column in support_columns()])
        unknown = (targets.change != 0) & np.isnan(self.effect)
        return np.asarray(np.any(unknown | (values < self.low) | (values > self.high), axis=1))


def foreseer_of(frame: Frame, settings: Settings, begun: Mapping[str, float] | None = None) -> Foreseer:
    """Fits both models on the frame's captures; begun: ratios of the variances of a like model, where the search begins.

    Raises StatisticsError where there is nothing to foresee with."""
    found, fits = fitted(frame, None, settings, begun)
    if fits is None:
        raise TooFewError("Not enough yet: no support was changed often enough to foresee what follows.")
    rows = {one.row.support: one.row for one in found}
    z = float(stats.norm.ppf(0.5 + settings.intervals.level / 2))
    low, high = (
        np.array(
            [np.nan if row.told_low is None else float(getattr(row, end) or 0.0) for row in (rows[one] for one in SUPPORTS)]
        )
        for end in ("told_low", "told_high")
    )
    fit, design = fits.pooled, fits.design.frame
    values = np.column_stack([column.values(frame.captures) for column in support_columns()])
    both = fit.variance_rider + fit.variance_visit
    terms = dict(zip(fit.terms, fit.estimate.tolist(), strict=True))
    return Foreseer(
        outcome=frame.outcome,
        columns=design.columns,
        terms=terms,
        effect=(low + high) / 2,
        error=(high - low) / (2 * z),
        by_type=by_type(frame, settings, fits.ratios),
        low=values.min(axis=0),
        high=values.max(axis=0),
        variances=Variances(both, fit.variance_knee, fit.variance_residual),
        ratios=fits.ratios,
        missing=_missing(frame.captures, terms),
    )

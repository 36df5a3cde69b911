"""One outcome's model turned toward what comes next: fixed parts with the told effects, variances, expected captures."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from dashboard.questions.foresight.targets import Targets
from dashboard.questions.models.captures import Captures
from dashboard.questions.models.effect_models import fitted
from dashboard.questions.models.frames import SUPPORTS, Frame, Varying, support_columns
from dashboard.questions.models.supports import exam_columns, mean_angle_deg
from shared.errors import TooFewError
from shared.settings import Settings
from shared.statistics.foresight.expected import Expected, Variances, expected

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True)
class Foreseer:
    """What one outcome's captures foresee with.

    columns: of the supports and of what they are held for; terms: the estimate of every term of the pooled model.
    effect, error (supports,): the middle of each support's told interval and its standard error, NaN where nothing is known of
    it; low, high (supports,): the least and most of each that was seen. angle_deg: stands for that of a foot not examined.
    """

    outcome: str
    columns: tuple[Varying, ...]
    terms: Mapping[str, float]
    effect: Floats
    error: Floats
    low: Floats
    high: Floats
    variances: Variances
    angle_deg: float

    def fixed(self, captures: Captures) -> Floats:
        """The fixed part of each row (rows,) of captures, with the told effects; unknown ones count as none."""
        of_cell = np.zeros(len(captures.n))
        for name, values in exam_columns(captures, self.angle_deg):
            of_cell += self.terms.get(name, 0.0) * values
        fixed = of_cell[captures.cell_of_row]
        effects = dict(zip(SUPPORTS, np.nan_to_num(self.effect).tolist(), strict=True))
        for column in self.columns:
            slope = effects[column.of] if column.of in effects else self.terms.get(column.term, 0.0)
            if slope:
                fixed += slope * column.values(captures)
        return fixed

    def foresee(self, captures: Captures, targets: Targets) -> Expected:
        """What each target is expected to measure, from what was measured before the change."""
        fixed = self.fixed(captures)
        before = targets.before(captures.rows[self.outcome] - fixed)
        effect_variance = targets.change**2 @ np.nan_to_num(self.error) ** 2
        return expected(fixed[targets.row], before, self.variances, effect_variance)

    def is_beyond(self, captures: Captures, targets: Targets) -> Flags:
        """Which targets (n,) stand beyond what was seen: a changed support of which nothing is known, or more or less of one
        than any capture had."""
        values = np.column_stack([column.values(captures)[targets.row] for column in support_columns()])
        unknown = (targets.change != 0) & np.isnan(self.effect)
        return np.asarray(np.any(unknown | (values < self.low) | (values > self.high), axis=1))


def foreseer_of(frame: Frame, settings: Settings) -> Foreseer:
    """Fits both models on the frame's captures. Raises StatisticsError where there is nothing to foresee with."""
    found, fits = fitted(frame, None, settings)
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
    return Foreseer(
        outcome=frame.outcome,
        columns=design.columns,
        terms=dict(zip(fit.terms, fit.estimate.tolist(), strict=True)),
        effect=(low + high) / 2,
        error=(high - low) / (2 * z),
        low=values.min(axis=0),
        high=values.max(axis=0),
        variances=Variances(both, fit.variance_knee, fit.variance_residual),
        angle_deg=mean_angle_deg(frame.captures),
    )

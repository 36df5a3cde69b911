"""Control charts: individuals and moving range for means, p chart for shares.

Values are in calendar order; NaN is a period without a figure. A gap stays a gap: no moving range reaches over it.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from shared.errors import NotEstimableError, TooFewError
from shared.statistics.wording import counted

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

# 3 / d2 for ranges of two values, d2 = 2 / sqrt(pi), as it is tabulated.
_MOVING_RANGE_FACTOR = 2.66


@dataclass(frozen=True)
class Limits:
    """The centre line, and a lower and an upper limit for each period, shape (n,); all in the unit of the values."""

    centre: float
    low: Array
    high: Array
    n_base: int


def xmr_limits(values: Array, base: Mask) -> Limits:
    """Natural limits of individual values, shape (n,): mean +- 2.66 times the mean moving range of the base period.

    base: which periods the limits are frozen from, shape (n,). Moving ranges are taken between neighbours in the base only.
    Raises TooFewError for fewer than two base values, NotEstimableError without two neighbours.
    Source: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2. Not for shares: use p_limits.
    """
    used = base & np.isfinite(values)
    if used.sum() < 2:
        raise TooFewError(f"Not enough yet: {counted(int(used.sum()), 'period')} with a figure, and limits need at least 2.")
    ranges = np.abs(np.diff(np.where(used, values, np.nan)))
    ranges = ranges[np.isfinite(ranges)]
    if len(ranges) == 0:
        raise NotEstimableError("No limits: no two periods with a figure follow each other in the base period.")
    centre, half = float(values[used].mean()), _MOVING_RANGE_FACTOR * float(ranges.mean())
    return Limits(centre, np.full(len(values), centre - half), np.full(len(values), centre + half), int(used.sum()))


def p_limits(events: Array, n: Array, base: Mask, design_effect: float = 1.0) -> Limits:
    """Limits of shares: p +- 3 sqrt(p (1 - p) / n), p the pooled share of the base period, within 0 and 1.

    events, n: counts in each period, shape (n,), 0 where there is nothing; base: as in xmr_limits. design_effect: how much
    larger the variance is than a binomial one, where rows come in clusters (two knees of one rider); 1 for independent rows.
    Raises TooFewError for fewer than two base periods with rows. A period without rows has no limits (NaN).
    Source: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.3.2. Rough where n p or n (1 - p) is below 5.
    """
    used = base & (n > 0)
    if used.sum() < 2:
        raise TooFewError(f"Not enough yet: {counted(int(used.sum()), 'period')} with a figure, and limits need at least 2.")
    centre = float(events[used].sum() / n[used].sum())
    effective = np.where(n > 0, n / design_effect, np.nan)
    half = 3 * np.sqrt(centre * (1 - centre) / effective)
    return Limits(centre, np.maximum(centre - half, 0.0), np.minimum(centre + half, 1.0), int(used.sum()))

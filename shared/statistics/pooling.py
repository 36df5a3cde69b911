"""Effects of several foot types brought together: the overall effect, how much types differ, each type drawn toward it."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats
from statsmodels.stats.meta_analysis import combine_effects

from shared.errors import NotEstimableError, TooFewError
from shared.statistics.wording import counted

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Pooled:
    """overall and its interval; between_sd: SD of true effects between types; shrunk (k,) with intervals, in the order given.

    weight (k,): how far a type's own estimate counts against the overall one, 0 to 1. prediction: where the true effect of a
    type not yet seen would lie, infinite for fewer than three types. q_p_value: of no difference between types.
    """

    overall: float
    overall_low: float
    overall_high: float
    between_sd: float
    shrunk: Array
    shrunk_low: Array
    shrunk_high: Array
    weight: Array
    prediction_low: float
    prediction_high: float
    q_p_value: float


def combine_types(estimate: Array, standard_error: Array, level: float) -> Pooled:
    """Random-effects combination of estimate (k,) with standard_error (k,), one a type, all in one unit.

    level: between 0 and 1. Between-type variance after Paule & Mandel. Raises TooFewError for fewer than two types and
    NotEstimableError for a standard error that is zero or not finite.
    Source: Paule & Mandel 1982, J Res Natl Bur Stand 87:377; prediction interval: Higgins et al. 2009, J R Stat Soc A 172:137;
    shrinkage: Efron & Morris 1975, J Am Stat Assoc 70:311. Not for types that share riders in earnest: the combination takes
    the estimates as independent.
    """
    k = len(estimate)
    if k < 2:
        raise TooFewError(f"Not enough yet: {counted(k, 'foot type')} with an estimate, and bringing types together needs 2.")
    variance = standard_error**2
    if not (np.isfinite(estimate).all() and np.isfinite(variance).all() and (variance > 0).all()):
        raise NotEstimableError("Not estimable: a type has no standard error of its own. Leave it out.")
    # Scaled: the iteration for the variance between types stops at an absolute difference.
    unit = float(np.sqrt(np.median(variance)))
    # Equal estimates have no share of variance between them, by which statsmodels divides.
    with np.errstate(divide="ignore"):
        combined = combine_effects(estimate / unit, variance / unit**2, method_re="iterated")
    tau2 = float(combined.tau2) * unit**2
    overall, error = _overall(estimate, variance, tau2)
    weight = tau2 / (tau2 + variance)
    shrunk = weight * estimate + (1 - weight) * overall
    shrunk_error = np.sqrt(weight * variance + (1 - weight) ** 2 * error**2)
    z = float(stats.norm.ppf(0.5 + level / 2))
    reach = float(stats.t.ppf(0.5 + level / 2, k - 2)) * float(np.hypot(error, tau2**0.5)) if k > 2 else np.inf
    return Pooled(
        overall=overall,
        overall_low=overall - z * error,
        overall_high=overall + z * error,
        between_sd=tau2**0.5,
        shrunk=shrunk,
        shrunk_low=shrunk - z * shrunk_error,
        shrunk_high=shrunk + z * shrunk_error,
        weight=weight,
        prediction_low=overall - reach,
        prediction_high=overall + reach,
        q_p_value=float(stats.chi2.sf(float(combined.q), k - 1)),
    )


def _overall(estimate: Array, variance: Array, tau2: float) -> tuple[float, float]:
    """Weighted mean and its standard error at a given variance between types."""
    weight = 1 / (variance + tau2)
    return float(weight @ estimate / weight.sum()), float(weight.sum() ** -0.5)

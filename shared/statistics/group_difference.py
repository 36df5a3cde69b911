"""The difference of a mean between two groups of rows, held for a starting value."""

import numpy as np
import statsmodels.api as sm
from numpy.typing import NDArray
from scipy import stats

from shared.errors import NotEstimableError, TooFewError
from shared.statistics.intervals import TermEstimate


def adjusted_difference(
    outcome: NDArray[np.float64],
    in_group: NDArray[np.bool_],
    others: NDArray[np.float64],
    cluster: NDArray[np.int64],
    level: float,
) -> TermEstimate:
    """Mean outcome in the group less outside of it, held for `others`, by least squares.

    outcome, in_group: (n,); others: (n, p), such as the value at the start, p may be 0; cluster: integer codes, (n,).
    Covariance clustered by rider (CR1), t on clusters - 1. The estimate is in the unit of the outcome.
    Raises TooFewError for fewer than ten riders, NotEstimableError where one of the groups is empty or tied to the others.
    Sources: Liang & Zeger 1986, Biometrika 73:13; Vickers & Altman 2001, BMJ 323:1123 (holding for the starting value).
    Not a proof of a cause: who is in the group was not drawn by lot.
    """
    n_clusters = len(np.unique(cluster))
    if n_clusters < 10:
        raise TooFewError(f"Not enough yet: {n_clusters} riders, and a difference needs at least 10.")
    design = np.column_stack([np.ones(len(outcome)), in_group.astype(float), others])
    if np.linalg.matrix_rank(design) < design.shape[1]:
        raise NotEstimableError("No figure: one of the two groups is empty, or it is known from the starting values alone.")
    fit = sm.OLS(outcome, design).fit(cov_type="cluster", cov_kwds={"groups": cluster}, use_t=True)
    estimate, error, df = float(fit.params[1]), float(fit.bse[1]), float(n_clusters - 1)
    half = float(stats.t.ppf(0.5 + level / 2, df)) * error
    return TermEstimate(estimate, estimate - half, estimate + half, error, df, float(fit.pvalues[1]))

"""A joint test of several contrasts."""

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from shared.errors import NotEstimableError


def wald_p_value(contrast: NDArray[np.float64], covariance: NDArray[np.float64], df: float) -> float:
    """The p-value that all contrasts (q,) with covariance (q, q) are zero, by F on q and df degrees of freedom.

    Raises NotEstimableError where the covariance has no inverse. One contrast gives the two-sided t test.
    Source: Wooldridge 2010, Econometric Analysis of Cross Section and Panel Data, section 4.2.3; clustered covariances give it
    with few riders a little too often, hence the F reference on the smallest df of the terms.
    """
    q = len(contrast)
    try:
        statistic = float(contrast @ np.linalg.solve(covariance, contrast)) / q
    except np.linalg.LinAlgError as fault:
        raise NotEstimableError("Not estimable: the contrasts depend on one another. Leave one out.") from fault
    return float(stats.f.sf(max(statistic, 0.0), q, max(df, 1.0)))

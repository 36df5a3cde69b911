"""Each knee as its own control in one session: differences from its mean, covariance clustered by rider."""

from dataclasses import dataclass

import numpy as np
import statsmodels.api as sm
from numpy.typing import NDArray

from shared.errors import NotEstimableError, TooFewError
from shared.statistics.estimability import demeaned, not_estimable
from shared.statistics.intervals import TermEstimate, t_intervals


@dataclass(frozen=True)
class WithinFit:
    """terms (p); estimate (p,), robust_covariance (p, p) clustered by rider, df (p,)."""

    terms: tuple[str, ...]
    estimate: NDArray[np.float64]
    robust_covariance: NDArray[np.float64]
    df: NDArray[np.float64]
    residual_variance: float
    n_rows: int
    n_knees: int
    n_riders: int

    def table(self, level: float) -> dict[str, TermEstimate]:
        """Each term's estimate with its t interval at `level`."""
        return t_intervals(self.terms, self.estimate, self.robust_covariance, self.df, level)


def fit_within_knee(
    outcome: NDArray[np.float64],
    design: NDArray[np.float64],
    terms: tuple[str, ...],
    session_knee: NDArray[np.int64],
    rider: NDArray[np.int64],
) -> WithinFit:
    """Least squares on outcome (n,) and design (n, p) less their session-knee means.

    session_knee, rider: integer codes, shape (n,); a session-knee lies within one rider. Knees captured once drop out.
    Degrees of freedom: riders with a repeated knee less one. Raises TooFewError for fewer than two such riders and
    NotEstimableError where a term never changes within a knee or is tied to another.
    Source: fixed-effects ("within") estimator, Wooldridge 2010, Econometric Analysis of Cross Section and Panel Data, ch. 10;
    clustered covariance of Liang & Zeger 1986, Biometrika 73:13. Not for effects of what never changes in a session.
    """
    _, code, n_captures = np.unique(session_knee, return_inverse=True, return_counts=True)
    repeated = n_captures[code] > 1
    _, knee = np.unique(session_knee[repeated], return_inverse=True)
    _, cluster = np.unique(rider[repeated], return_inverse=True)
    n_rows, n_knees, n_riders = len(knee), int(knee.max(initial=-1)) + 1, int(cluster.max(initial=-1)) + 1
    if n_riders < 2:
        raise TooFewError(f"Not enough yet: {n_riders} rider with a knee recorded twice; a comparison within knees needs 2.")
    if tied := not_estimable(design[repeated], terms, knee):
        raise NotEstimableError(f"Not estimable within a knee: {', '.join(tied)}. Leave these terms out.")
    y = demeaned(outcome[repeated, None], knee)[:, 0]
    x = demeaned(design[repeated], knee)
    if n_rows - n_knees - len(terms) < 1:
        raise TooFewError(f"Not enough yet: {n_rows} captures of {n_knees} knees for {len(terms)} terms.")
    fit = sm.OLS(y, x).fit(cov_type="cluster", cov_kwds={"groups": cluster, "use_correction": False})
    # CR1 with the rows' factor counting terms only: the absorbed means are nested in the riders and cost nothing there
    # (Cameron & Miller 2015, J Hum Resour 50:317, section II.C).
    correction = n_riders / (n_riders - 1) * (n_rows - 1) / (n_rows - len(terms))
    return WithinFit(
        terms=terms,
        estimate=np.asarray(fit.params, dtype=float),
        robust_covariance=np.asarray(fit.cov_params(), dtype=float) * correction,
        df=np.full(len(terms), n_riders - 1.0),
        residual_variance=float(fit.resid @ fit.resid / (n_rows - n_knees - len(terms))),
        n_rows=n_rows,
        n_knees=n_knees,
        n_riders=n_riders,
    )

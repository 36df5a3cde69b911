"""Each knee as its own control in one session: differences from its mean, covariance clustered by rider."""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import solve_triangular

from shared.errors import NotEstimableError, TooFewError
from shared.statistics.estimability import demeaned, ties, triangle
from shared.statistics.grouping import dense
from shared.statistics.intervals import TermEstimate, t_intervals
from shared.statistics.rider_sandwich import cr2_at_speed

Array = NDArray[np.float64]


@dataclass(frozen=True)
class WithinFit:
    """terms (p); estimate (p,), robust_covariance (p, p) clustered by rider, df (p,); residual_variance in the unit squared.

    influence (n_riders, p): what each of `riders` (labels as given) adds to the error of each term.
    """

    terms: tuple[str, ...]
    estimate: Array
    robust_covariance: Array
    df: Array
    residual_variance: float
    n_rows: int
    n_knees: int
    n_riders: int
    riders: NDArray[np.generic] = field(repr=False)
    influence: Array = field(repr=False)

    def table(self, level: float) -> dict[str, TermEstimate]:
        """Each term's estimate with its t interval at `level`."""
        return t_intervals(self.terms, self.estimate, self.robust_covariance, self.df, level)


def fit_within_knee(
    outcome: Array,
    design: Array,
    terms: tuple[str, ...],
    session_knee: NDArray[np.generic],
    rider: NDArray[np.generic],
) -> WithinFit:
    """Least squares on outcome (n,) and design (n, p) less their session-knee means.

    session_knee, rider: codes or labels, shape (n,); a session-knee lies within one rider. Knees captured once drop out.
    Standard errors: CR2 by rider with Satterthwaite degrees of freedom; the absorbed means are nested in the riders and cost
    nothing there. Raises TooFewError for fewer than two riders with a knee recorded twice and NotEstimableError where a
    term never changes within a knee or is tied to another.
    Source: fixed-effects ("within") estimator, Wooldridge 2010, Econometric Analysis of Cross Section and Panel Data, ch. 10;
    nested means: Pustejovsky & Tipton 2018, J Bus Econ Stat 36:672. Not for effects of what never changes in a session.
    """
    code, _ = dense(session_knee)
    repeated = np.bincount(code)[code] > 1
    knee, knees = dense(code[repeated])
    cluster, riders = dense(rider[repeated])
    refuse_few(len(knee), len(knees), len(riders), len(terms))
    y = demeaned(outcome[repeated, None], knee)[:, 0]
    x = demeaned(design[repeated], knee)
    if tied := ties(x, terms):
        raise NotEstimableError(f"Not estimable within a knee: {', '.join(tied)}. Leave these terms out.")
    factor = triangle(np.column_stack([x, y]))
    estimate = solve_triangular(factor[:-1, :-1], factor[:-1, -1])
    inverse = solve_triangular(factor[:-1, :-1], np.eye(len(terms)))
    sandwich = cr2_at_speed(x, y - x @ estimate, cluster, np.asarray(inverse @ inverse.T))
    return WithinFit(
        terms=terms,
        estimate=np.asarray(estimate),
        robust_covariance=sandwich.covariance,
        df=sandwich.df,
        residual_variance=float(factor[-1, -1] ** 2) / (len(knee) - len(knees) - len(terms)),
        n_rows=len(knee),
        n_knees=len(knees),
        n_riders=len(riders),
        riders=riders,
        influence=sandwich.influence,
    )


def refuse_few(n_rows: int, n_knees: int, n_riders: int, n_terms: int) -> None:
    """Raises TooFewError where knees recorded twice are too few for an answer."""
    if n_riders < 2:
        raise TooFewError(f"Not enough yet: {n_riders} rider with a knee recorded twice; a comparison within knees needs 2.")
    if n_rows - n_knees - n_terms < 1:
        raise TooFewError(f"Not enough yet: {n_rows} captures of {n_knees} knees for {n_terms} terms.")

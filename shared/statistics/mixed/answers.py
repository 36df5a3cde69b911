"""What the two effect models tell."""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from shared.statistics.intervals import TermEstimate, t_intervals

Floats = NDArray[np.float64]
Labels = NDArray[np.generic]


@dataclass(frozen=True)
class MixedFit:
    """terms (p); estimate (p,); model_covariance and robust_covariance (p, p), the latter clustered by rider; df (p,).

    Variances in the outcome's unit squared; a variance at its boundary is exactly 0, and so is one that the data cannot tell
    from another. influence (n_riders, p): what each of `riders` (labels as given) adds to the error of each term.
    """

    terms: tuple[str, ...]
    estimate: Floats
    model_covariance: Floats
    robust_covariance: Floats
    df: Floats
    variance_rider: float
    variance_knee: float
    variance_visit: float
    variance_residual: float
    loglik: float
    n_rows: int
    n_riders: int
    riders: Labels = field(repr=False)
    influence: Floats = field(repr=False)

    def table(self, level: float) -> dict[str, TermEstimate]:
        """Each term's estimate with its t interval at `level`, from the robust covariance."""
        return t_intervals(self.terms, self.estimate, self.robust_covariance, self.df, level)


@dataclass(frozen=True)
class WithinFit:
    """terms (p); estimate (p,), robust_covariance (p, p) clustered by rider, df (p,); residual_variance in the unit squared.

    influence (n_riders, p): what each of `riders` (labels as given) adds to the error of each term.
    """

    terms: tuple[str, ...]
    estimate: Floats
    robust_covariance: Floats
    df: Floats
    residual_variance: float
    n_rows: int
    n_knees: int
    n_riders: int
    riders: Labels = field(repr=False)
    influence: Floats = field(repr=False)

    def table(self, level: float) -> dict[str, TermEstimate]:
        """Each term's estimate with its t interval at `level`."""
        return t_intervals(self.terms, self.estimate, self.robust_covariance, self.df, level)

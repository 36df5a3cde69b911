"""The pooled estimate: a linear mixed model by REML, its covariance clustered by rider."""

import warnings
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray
from statsmodels.regression.mixed_linear_model import MixedLM, VCSpec
from statsmodels.tools.sm_exceptions import ConvergenceWarning

from shared.errors import NoConvergenceError, TooFewError
from shared.statistics.intervals import TermEstimate, t_intervals

# A variance below this share of the residual variance is zero: the optimizer works on square roots and stops near it.
_ZERO_RATIO = 1e-5
_OPTIMIZERS = ("lbfgs", "bfgs", "powell", "cg")


@dataclass(frozen=True)
class MixedFit:
    """terms (p); estimate (p,); model_covariance and robust_covariance (p, p), the latter clustered by rider; df (p,).

    Variances in the outcome's unit squared; a variance at its boundary is exactly 0.
    """

    terms: tuple[str, ...]
    estimate: NDArray[np.float64]
    model_covariance: NDArray[np.float64]
    robust_covariance: NDArray[np.float64]
    df: NDArray[np.float64]
    variance_rider: float
    variance_knee: float
    variance_visit: float
    variance_residual: float
    loglik: float
    n_rows: int
    n_riders: int

    def table(self, level: float) -> dict[str, TermEstimate]:
        """Each term's estimate with its t interval at `level`, from the robust covariance."""
        return t_intervals(self.terms, self.estimate, self.robust_covariance, self.df, level)


def fit_mixed_model(
    outcome: NDArray[np.float64],
    design: NDArray[np.float64],
    terms: tuple[str, ...],
    rider: NDArray[np.int64],
    knee: NDArray[np.int64] | None = None,
    visit: NDArray[np.int64] | None = None,
) -> MixedFit:
    """REML fit of outcome (n,) on design (n, p) with random intercepts for rider, knee and visit.

    rider, knee, visit: integer codes, shape (n,); a knee and a visit lie within one rider; None leaves that intercept out.
    Raises TooFewError for fewer than two riders or too few rows, NoConvergenceError where no optimizer settles.
    Source: Pinheiro & Bates 2000, Mixed-Effects Models in S and S-PLUS, ch. 2; robust covariance of Liang & Zeger 1986,
    Biometrika 73:13. Not for outcomes that are counts or shares.
    """
    order = np.argsort(rider, kind="stable")
    y, x = outcome[order], design[order]
    _, group = np.unique(rider[order], return_inverse=True)
    n_riders = int(group.max(initial=-1)) + 1
    if n_riders < 2 or len(y) <= x.shape[1] + 1:
        raise TooFewError(f"Not enough yet: {len(y)} captures of {n_riders} riders for {x.shape[1]} terms.")
    intercepts = {name: codes[order] for name, codes in {"knee": knee, "visit": visit}.items() if codes is not None}
    scale = float(y.std()) or 1.0
    fit = _settled(MixedLM(y / scale, x, group, exog_re=np.ones((len(y), 1)), exog_vc=_components(group, intercepts)))
    ratios = _ratios(fit, tuple(intercepts))
    residual = float(fit.scale) * scale**2
    estimate = np.asarray(fit.fe_params, dtype=float) * scale
    model, robust = _covariances(y - x @ estimate, x, group, intercepts, ratios)
    return MixedFit(
        terms=terms,
        estimate=estimate,
        model_covariance=model * residual,
        robust_covariance=robust,
        df=np.full(len(terms), n_riders - 1.0),
        variance_rider=ratios["rider"] * residual,
        variance_knee=ratios.get("knee", 0.0) * residual,
        variance_visit=ratios.get("visit", 0.0) * residual,
        variance_residual=residual,
        loglik=float(fit.llf) - (len(y) - x.shape[1]) * np.log(scale),
        n_rows=len(y),
        n_riders=n_riders,
    )


def _components(group: NDArray[np.int64], intercepts: dict[str, NDArray[np.int64]]) -> VCSpec:
    """Indicator matrices of knees and visits inside each rider, as MixedLM takes them."""
    starts = np.flatnonzero(np.r_[True, np.diff(group) != 0, True])
    names, matrices = [], []
    for codes in intercepts.values():
        own = [codes[start:end] for start, end in pairwise(starts)]
        present = [np.unique(part) for part in own]
        matrices.append([(part[:, None] == levels[None, :]).astype(float) for part, levels in zip(own, present, strict=True)])
        names.append([[str(level) for level in levels] for levels in present])
    return VCSpec(list(intercepts), names, matrices)


def _settled(model: MixedLM) -> Any:
    """The fit of the first optimizer that settles; boundary and convergence warnings become a retry or a refusal."""
    for optimizer in _OPTIMIZERS:
        with warnings.catch_warnings(record=True) as caught:
            warnings.simplefilter("always")
            try:
                fit = model.fit(reml=True, method=[optimizer])
            except (np.linalg.LinAlgError, ValueError):
                continue
        failed = any(
            issubclass(warning.category, ConvergenceWarning) and "boundary" not in str(warning.message) for warning in caught
        )
        if fit.converged and not failed and np.isfinite(fit.llf):
            return fit
    raise NoConvergenceError(
        f"No figure: the pooled model did not settle on an answer in {model.nobs} captures of {model.n_groups} riders. "
        "Widen the selection."
    )


def _ratios(fit: Any, names: tuple[str, ...]) -> dict[str, float]:
    """Variances of the random intercepts relative to the residual variance; exactly 0 at the boundary."""
    raw = {"rider": float(np.asarray(fit.cov_re)[0, 0]), **dict(zip(names, map(float, fit.vcomp), strict=True))}
    return {name: 0.0 if value < _ZERO_RATIO * float(fit.scale) else value / float(fit.scale) for name, value in raw.items()}


def _covariances(
    residual: NDArray[np.float64],
    x: NDArray[np.float64],
    group: NDArray[np.int64],
    intercepts: dict[str, NDArray[np.int64]],
    ratios: dict[str, float],
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Covariance of the estimates: under the model per unit of residual variance, and by sums of scores in each rider (CR1)."""
    p = x.shape[1]
    information, scores = np.zeros((p, p)), []
    starts = np.flatnonzero(np.r_[True, np.diff(group) != 0, True])
    for start, end in pairwise(starts):
        here = slice(start, end)
        variance = np.eye(end - start) + ratios["rider"]
        for name, codes in intercepts.items():
            variance += ratios[name] * (codes[here, None] == codes[None, here])
        weighted = np.linalg.solve(variance, np.column_stack([x[here], residual[here]]))
        information += x[here].T @ weighted[:, :p]
        scores.append(x[here].T @ weighted[:, p])
    bread = np.linalg.inv(information)
    n_riders = len(scores)
    meat = np.asarray(scores).T @ np.asarray(scores) * n_riders / (n_riders - 1)
    return np.asarray(bread), np.asarray(bread @ meat @ bread)

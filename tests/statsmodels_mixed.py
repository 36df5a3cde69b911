"""The pooled model by statsmodels' MixedLM, row by row: what the engine is compared with. Slow beyond some thousand rows.

A gradient search, refined; where it complains or a variance is below a fifth of the residual's, Nelder-Mead and Powell instead,
since on roots of variances the slope vanishes at zero and gradient searches stop short of it.
"""

import warnings
from collections.abc import Mapping
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray
from statsmodels.regression.mixed_linear_model import MixedLM, VCSpec
from statsmodels.tools.sm_exceptions import ConvergenceWarning

from shared.errors import NoConvergenceError, NotEstimableError, TooFewError
from shared.statistics.clustered.cr2 import cr2_of_rows
from shared.statistics.estimability import ties
from shared.statistics.grouping import Codes, dense, same_partition, within_rider
from shared.statistics.mixed.answers import MixedFit
from shared.statistics.wording import counted

Array = NDArray[np.float64]

# A variance below this share of the residual variance is zero: the optimizer works on square roots and stops near it.
_ZERO_RATIO = 1e-5
# Below this share an optimizer that goes by gradients may have stopped short of zero.
_NEAR_RATIO = 0.2
_FINE = {"ftol": 1e-11, "maxiter": 4000}


def fit_mixed_model(
    outcome: Array,
    design: Array,
    terms: tuple[str, ...],
    rider: NDArray[np.generic],
    knee: NDArray[np.generic] | None = None,
    visit: NDArray[np.generic] | None = None,
) -> MixedFit:
    """REML fit of outcome (n,) on design (n, p) with random intercepts for rider, knee and visit.

    rider, knee, visit: codes or labels, shape (n,); a knee and a visit count within their rider; None leaves that intercept
    out. Estimates in the outcome's unit per unit of the term. Standard errors: CR2 by rider, Satterthwaite degrees of freedom.
    Raises as fit_mixed_cells does. Source: Pinheiro & Bates 2000, Mixed-Effects Models in S and S-PLUS, ch. 2.
    """
    codes, labels = dense(rider)
    refuse_unfit(outcome, design, terms, len(labels))
    order = np.argsort(codes, kind="stable")
    y, x, group = outcome[order], design[order], codes[order]
    given = {"knee": knee, "visit": visit}
    intercepts = told_apart(group, {k: within_rider(group, dense(v)[0][order]) for k, v in given.items() if v is not None})
    # Scaled so that the optimizer meets numbers near one; the likelihood is taken back to the units given.
    y_scale, x_scale = float(y.std()) or 1.0, np.sqrt((x**2).mean(axis=0))
    model = _Model(y / y_scale, x / x_scale, group, exog_re=np.ones((len(y), 1)), exog_vc=_components(group, intercepts))
    fit = _settled(model)
    ratios = _ratios(fit, tuple(intercepts))
    residual = float(fit.scale) * y_scale**2
    estimate = np.asarray(fit.fe_params, dtype=float) * y_scale / x_scale
    rows, left = whitened(np.column_stack([x, y - x @ estimate]), group, intercepts, ratios)
    sandwich = cr2_of_rows(rows, left, group)
    return MixedFit(
        terms=terms,
        estimate=estimate,
        model_covariance=np.asarray(np.linalg.inv(rows.T @ rows)) * residual,
        robust_covariance=sandwich.covariance,
        df=sandwich.df,
        variance_rider=ratios["rider"] * residual,
        variance_knee=ratios.get("knee", 0.0) * residual,
        variance_visit=ratios.get("visit", 0.0) * residual,
        variance_residual=residual,
        loglik=float(fit.llf) - (len(y) - len(terms)) * np.log(y_scale) - float(np.log(x_scale).sum()),
        n_rows=len(y),
        n_riders=len(labels),
        riders=labels,
        influence=sandwich.influence,
    )


def refuse_unfit(outcome: Array, design: Array, terms: tuple[str, ...], n_riders: int) -> None:
    """Raises where the pooled model has no answer: too few riders or rows, a value missing, terms tied to one another."""
    if n_riders < 2 or len(outcome) <= len(terms) + 1:
        told = f"{counted(len(outcome), 'capture')} of {counted(n_riders, 'rider')} for {counted(len(terms), 'term')}"
        raise TooFewError(f"Not enough yet: {told}.")
    if not (np.isfinite(outcome).all() and np.isfinite(design).all()):
        raise NotEstimableError("No figure: a value is missing among the rows of the pooled model. Leave such rows out first.")
    if tied := ties(design, terms):
        named = "; ".join(
            f"{term} is made up of {', '.join(others)}" if others else f"{term} is zero throughout"
            for term, others in tied.items()
        )
        raise NotEstimableError(f"Not estimable: {named}. Leave one of them out.")


class _Model(MixedLM):  # type: ignore[misc]
    """MixedLM whose likelihood is very low, rather than an error, where a variance of exactly 0 has no inverse."""

    def loglike(self, params: Any, profile_fe: bool = True) -> float:
        try:
            return float(super().loglike(params, profile_fe))
        except np.linalg.LinAlgError:
            return -1e10


def _components(group: Codes, intercepts: dict[str, Codes]) -> VCSpec:
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
    """The best fit of a gradient search and, near a boundary or after a complaint, of two searches without gradients.

    statsmodels works on roots of variances: there the slope vanishes at zero, and gradient searches stop short of it.
    Complaints about the boundary or about the curvature at it are expected; one that the search failed is not.
    """
    fit, complaints = _fitted(model, "lbfgs")
    if fit is not None and not complaints and min(_raw_ratios(fit)) > _NEAR_RATIO:
        closer, _ = _fitted(model, "bfgs", start_params=fit.params_object, gtol=1e-8)
        return closer if closer is not None and closer.llf > fit.llf else fit
    tried = [_fitted(model, optimizer, **_FINE) for optimizer in ("nm", "powell")]
    settled = [fit for fit, complaints in tried if fit is not None and not any("fail" in words for words in complaints)]
    if not settled:
        raise NoConvergenceError(
            f"No figure: the pooled model did not settle on an answer in {model.nobs} captures of {model.n_groups} riders. "
            "Widen the selection."
        )
    return max(settled, key=lambda fit: float(fit.llf))


def _fitted(model: MixedLM, optimizer: str, **options: Any) -> tuple[Any, list[str]]:
    """One fit, or None where it broke down, and what statsmodels complained of."""
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        try:
            fit = model.fit(reml=True, method=[optimizer], **options)
            sound = bool(fit.converged and np.isfinite(fit.llf))
        except (np.linalg.LinAlgError, ValueError):
            sound = False
    return (fit if sound else None), [str(w.message) for w in caught if issubclass(w.category, ConvergenceWarning)]


def _raw_ratios(fit: Any) -> list[float]:
    return [float(value) / float(fit.scale) for value in (np.asarray(fit.cov_re)[0, 0], *fit.vcomp)]


def _ratios(fit: Any, names: tuple[str, ...]) -> dict[str, float]:
    """Variances of the random intercepts relative to the residual variance; exactly 0 at the boundary."""
    raw = zip(("rider", *names), _raw_ratios(fit), strict=True)
    return {name: 0.0 if ratio < _ZERO_RATIO else ratio for name, ratio in raw}


def whitened(columns: Array, group: Codes, intercepts: dict[str, Codes], ratios: dict[str, float]) -> tuple[Array, Array]:
    """The design (n, p) and the residual (n,), the last of the columns, with V per unit of residual variance taken off."""
    made = np.empty_like(columns)
    starts = np.flatnonzero(np.r_[True, np.diff(group) != 0, True])
    for start, end in pairwise(starts):
        here = slice(start, end)
        variance = np.eye(int(end - start)) + ratios["rider"]
        for name, codes in intercepts.items():
            variance += ratios[name] * (codes[here, None] == codes[None, here])
        made[here] = np.linalg.solve(np.linalg.cholesky(variance), columns[here])
    return made[:, :-1], made[:, -1]


def told_apart(rider: Codes, levels: Mapping[str, Codes]) -> dict[str, Codes]:
    """The intercepts whose variance the data can tell from the residual, from the rider's and from one another's.

    rider and each of levels: dense codes, shape (n,). Left out: levels of one row each, which are the residual itself, and
    levels that group the rows as an earlier intercept does.
    """
    kept: dict[str, Codes] = {}
    for name, codes in levels.items():
        one_row_each = int(codes.max(initial=-1)) + 1 == len(codes)
        if not one_row_each and not any(same_partition(codes, other) for other in (rider, *kept.values())):
            kept[name] = codes
    return kept

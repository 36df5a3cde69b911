"""Instrumental variables with as many or more instruments than terms, by rider: estimates, over-identification, persistence."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse, stats

from shared.statistics.cross_products import cross_product

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True)
class Gmm:
    """estimate (p,), covariance (p, p), residual (m,) and influence (groups, p), by the corrected covariance; j: Hansen's
    statistic of over-identification with its df and p-value, 1 where df is 0."""

    estimate: Floats
    covariance: Floats
    residual: Floats
    influence: Floats
    j: float
    j_df: int
    j_p_value: float


def group_sums(columns: Floats, group: Ints, weight: Floats | None = None) -> Floats:
    """Sums (groups, p) of columns (m, p), each row times its weight (m,), by codes (m,), 0 to groups - 1."""
    weight = np.ones(len(group)) if weight is None else weight
    shape = int(group.max(initial=-1)) + 1, len(group)
    return np.asarray(sparse.csc_array((weight, group, np.arange(len(group) + 1)), shape=shape) @ columns)


def over_identification(x: Floats, z: Floats, y: Floats, group: Ints) -> float:
    """The p-value of Hansen's J: that all instruments z (m, q) tell the same effects of x (m, p) on y (m,), q > p.

    group (m,): codes. Source: Hansen 1982, Econometrica 50:1029. Raises LinAlgError as two_step.
    """
    step = _second_step(x, z, y, group, None)
    left = z.T @ (y - x @ step.estimate)
    return float(stats.chi2.sf(left @ step.weight @ left, z.shape[1] - x.shape[1]))


@dataclass(frozen=True)
class _Step:
    """first: the first step's weight, estimate, its bread and scores by group; weight, estimate, bread: of the second."""

    first_weight: Floats
    first_bread: Floats
    first_scores: Floats
    weight: Floats
    bread: Floats
    estimate: Floats


def _second_step(x: Floats, z: Floats, y: Floats, group: Ints, weight: Floats | None) -> _Step:
    zx, zy = cross_product(z, x), z.T @ y
    first = np.asarray(np.linalg.inv(cross_product(z, z))) if weight is None else weight
    first_bread = np.linalg.inv(zx.T @ first @ zx)
    residual = y - x @ (first_bread @ (zx.T @ first @ zy))
    scores = group_sums(z, group, residual)
    second = np.linalg.inv(scores.T @ scores)
    bread = np.linalg.inv(zx.T @ second @ zx)
    estimate = bread @ (zx.T @ second @ zy)
    return _Step(first, np.asarray(first_bread), scores, np.asarray(second), np.asarray(bread), estimate)


def two_step(x: Floats, z: Floats, y: Floats, group: Ints, weight: Floats | None = None) -> Gmm:
    """Two-step GMM of y (m,) on x (m, p) with instruments z (m, q), q >= p, clustered by group codes (m,) from 0.

    weight (q, q): of the first step, two-stage least squares where None. Covariance with Windmeijer's correction of the second
    step's for the first having been estimated. Sources: Arellano & Bond 1991, Rev Econ Stud 58:277; Windmeijer 2005, J
    Econometrics 126:25. Raises LinAlgError where instruments depend on one another or do not move every term.
    """
    step, zx = _second_step(x, z, y, group, weight), z.T @ x
    residual = y - x @ step.estimate
    scores = group_sums(z, group, residual)
    total, map_2 = scores.sum(axis=0), step.bread @ zx.T @ step.weight
    # How the second step moves with the first: through the weight that was made of its residuals.
    shift = np.empty_like(step.bread)
    for term in range(x.shape[1]):
        change = -(group_sums(z, group, x[:, term]).T @ step.first_scores)
        shift[:, term] = -map_2 @ (change + change.T) @ step.weight @ total
    map_1 = step.first_bread @ zx.T @ step.first_weight
    robust_1 = map_1 @ (step.first_scores.T @ step.first_scores) @ map_1.T
    covariance = step.bread + shift @ step.bread + step.bread @ shift.T + shift @ robust_1 @ shift.T
    j, j_df = float(total @ step.weight @ total), z.shape[1] - x.shape[1]
    return Gmm(
        step.estimate, covariance, residual, scores @ step.weight @ zx @ covariance, j, j_df,
        float(stats.chi2.sf(j, j_df)) if j_df else 1.0,
    )  # fmt: skip


def persistence(products: Floats, moved: Floats, influence: Floats, covariance: Floats) -> tuple[float, float]:
    """Arellano and Bond's m: whether noise reaches from one capture into later ones; the statistic and its two-sided p-value.

    products (groups,): sums by group of the products of differenced residuals so many captures apart; moved (p,): by how much
    their total changes with each term, the earlier residual held; influence (groups, p): what each group adds to the error of
    each term; covariance (p, p): of these. Source: Arellano & Bond 1991, Rev Econ Stud 58:277, eq. 8 and 9.
    """
    variance = float(products @ products + 2 * moved @ (influence.T @ products) + moved @ covariance @ moved)
    m = float(products.sum()) / variance**0.5 if variance > 0 else 0.0
    return m, float(2 * stats.norm.sf(abs(m)))

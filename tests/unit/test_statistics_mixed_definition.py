"""The pooled model against its own definition, written out on whole matrices, over small random designs."""

import numpy as np
import pytest
from numpy.typing import NDArray

from shared.statistics.mixed.answers import MixedFit
from tests.rows_as_cells import fit_rows

Array = NDArray[np.float64]


def drawn(seed: int) -> tuple[Array, Array, NDArray[np.int64]]:
    """Outcome, design and codes (rider, knee, visit) of an unbalanced little studio; some variances are truly zero."""
    rng = np.random.default_rng(seed)
    n_riders = int(rng.integers(5, 15))
    rows = [
        (rider, 2 * rider + knee, 3 * rider + visit)
        for rider in range(n_riders)
        for visit in range(rng.integers(1, 4))
        for _ in range(rng.integers(1, 4))
        for knee in range(2)
        if rng.random() < 0.9
    ]
    codes = np.array(rows)
    n = len(codes)
    design = np.column_stack([np.ones(n), rng.normal(size=n), rng.normal(size=n_riders)[codes[:, 0]]])
    spreads = rng.choice([0.0, 0.5, 1.5], 3)
    intercepts = [s * rng.normal(size=3 * n_riders)[codes[:, i]] for i, s in enumerate(spreads)]
    return design @ [3.0, 0.5, -1.0] + sum(intercepts) + rng.normal(size=n), design, codes


def defined(outcome: Array, design: Array, codes: NDArray[np.int64], ratios: Array) -> tuple[float, Array, Array]:
    """REML log-likelihood at given variance ratios, the estimate and its covariance (Pinheiro & Bates 2000, section 2.2)."""
    n, p = design.shape
    variance = np.eye(n)
    for column, ratio in zip(codes.T, ratios, strict=True):
        variance += ratio * (column[:, None] == column[None, :])
    inverse = np.linalg.inv(variance)
    information = design.T @ inverse @ design
    estimate = np.linalg.solve(information, design.T @ inverse @ outcome)
    residual = outcome - design @ estimate
    sigma2 = float(residual @ inverse @ residual) / (n - p)
    logdets = np.linalg.slogdet(variance)[1] + np.linalg.slogdet(information)[1]
    return -0.5 * ((n - p) * (np.log(2 * np.pi * sigma2) + 1) + logdets), estimate, np.linalg.inv(information) * sigma2


def ratios_of(fit: MixedFit) -> Array:
    return np.array([fit.variance_rider, fit.variance_knee, fit.variance_visit]) / fit.variance_residual


@pytest.mark.parametrize("seed", range(12))
def test_the_fit_is_the_top_of_the_likelihood(seed: int) -> None:
    outcome, design, codes = drawn(seed)
    fit = fit_rows(outcome, design, ("intercept", "dose", "arch"), codes[:, 0], codes[:, 1], codes[:, 2])
    ratios = ratios_of(fit)
    loglik, estimate, covariance = defined(outcome, design, codes, ratios)
    assert fit.loglik == pytest.approx(loglik, abs=1e-5)
    assert fit.estimate == pytest.approx(estimate, rel=1e-4, abs=1e-6)
    assert fit.model_covariance == pytest.approx(covariance, rel=1e-3, abs=1e-8)
    for position in range(3):
        for step in (0.9, 1.1):
            beside = ratios.copy()
            beside[position] = ratios[position] * step if ratios[position] else 0.01 * (step > 1)
            assert defined(outcome, design, codes, beside)[0] <= loglik + 1e-6


def test_the_random_designs_reach_the_boundary() -> None:
    """Otherwise the test above would say nothing about it."""
    fits = []
    for seed in range(12):
        outcome, design, codes = drawn(seed)
        fits.append(fit_rows(outcome, design, ("intercept", "dose", "arch"), codes[:, 0], codes[:, 1], codes[:, 2]))
    on_boundary = sum(bool((ratios_of(fit) == 0).any()) for fit in fits)
    assert 3 <= on_boundary <= 11


def test_clustered_covariance_is_the_whitened_sandwich() -> None:
    outcome, design, codes = drawn(3)
    fit = fit_rows(outcome, design, ("intercept", "dose", "arch"), codes[:, 0], codes[:, 1], codes[:, 2])
    variance = np.eye(len(outcome))
    for column, ratio in zip(codes.T, ratios_of(fit), strict=True):
        variance += ratio * (column[:, None] == column[None, :])
    bread = np.linalg.inv(design.T @ np.linalg.solve(variance, design))
    residual = outcome - design @ fit.estimate
    expected = np.zeros((3, 3))
    for rider in fit.riders:
        own = np.flatnonzero(codes[:, 0] == rider)
        lower = np.linalg.cholesky(variance[np.ix_(own, own)])
        rows, noise = np.linalg.solve(lower, design[own]), np.linalg.solve(lower, residual[own])
        values, vectors = np.linalg.eigh(np.eye(len(own)) - rows @ bread @ rows.T)
        added = bread @ rows.T @ (vectors / np.sqrt(values)) @ vectors.T @ noise
        expected += np.outer(added, added)
    assert fit.robust_covariance == pytest.approx(expected, rel=1e-6)

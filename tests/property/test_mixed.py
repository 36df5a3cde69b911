"""The pooled model against statsmodels and against the likelihood written out, over random unbalanced designs."""

from dataclasses import dataclass

import numpy as np
import pytest
from numpy.typing import NDArray

from shared.statistics.mixed.answers import MixedFit
from tests.rows_as_cells import fit_rows
from tests.statsmodels_mixed import fit_mixed_model

TERMS = ("intercept", "support", "exam", "order")
# Standard deviations of rider, knee, visit, and of what both knees of a capture share or a knee has in one visit, which the
# model does not know, beside a residual of 1: large, small, none.
SPREADS = (
    (1.0, 0.7, 0.5, 0.0, 0.0),
    (0.0, 0.7, 0.5, 0.3, 0.0),
    (1.0, 0.0, 0.5, 0.0, 0.4),
    (1.0, 0.7, 0.0, 0.5, 0.5),
    (0.0, 0.0, 0.0, 0.0, 0.0),
    (5.0, 3.0, 2.0, 1.0, 0.7),
    (0.3, 0.2, 0.1, 0.1, 0.1),
    (0.0, 2.0, 0.0, 0.0, 1.0),
)


@dataclass(frozen=True)
class Studio:
    outcome: NDArray[np.float64]
    design: NDArray[np.float64]
    codes: dict[str, NDArray[np.int64]]


def studio(seed: int, n_riders: int = 18) -> Studio:
    """One to three visits a rider, one to four captures a visit, one row in eight lost; by session, side, capture."""
    rng = np.random.default_rng(seed)
    rows = [
        (rider, 2 * rider + side, 3 * rider + visit, 12 * rider + 4 * visit + capture, side, capture)
        for rider in range(n_riders)
        for visit in range(rng.integers(1, 4))
        for side in range(2)
        for capture in range(rng.integers(1, 5))
        if rng.random() > 1 / 8
    ]
    rider, knee, visit, capture, side, order = np.array(rows).T
    codes = {"rider": rider, "knee": knee, "visit": visit, "capture": capture, "knee_visit": 2 * visit + side}
    design = np.column_stack([np.ones(len(rider)), rng.random(len(rider)) < 0.4, rng.normal(size=n_riders)[rider], order])
    outcome = design @ [1.0, 0.5, -0.3, 0.1] + rng.normal(size=len(rider))
    for spread, own in zip(SPREADS[seed % len(SPREADS)], codes.values(), strict=True):
        outcome += spread * rng.normal(size=own.max() + 1)[own]
    return Studio(outcome, design, codes)


def errors(covariance: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.sqrt(np.diag(covariance))


def ratios(fit: MixedFit) -> dict[str, float]:
    return {
        "rider": fit.variance_rider / fit.variance_residual,
        "knee": fit.variance_knee / fit.variance_residual,
        "visit": fit.variance_visit / fit.variance_residual,
    }


def written_out(made: Studio, found: dict[str, float]) -> tuple[float, NDArray[np.float64], NDArray[np.float64]]:
    """REML log-likelihood, estimate and its model covariance with the n x n covariance matrix in full."""
    y, x = made.outcome, made.design
    variance = np.eye(len(y))
    for name, ratio in found.items():
        variance += ratio * (made.codes[name][:, None] == made.codes[name][None, :])
    weighted = np.linalg.solve(variance, x)
    information = x.T @ weighted
    estimate = np.linalg.solve(information, weighted.T @ y)
    rest = y - x @ estimate
    df = len(y) - x.shape[1]
    residual = rest @ np.linalg.solve(variance, rest) / df
    logdet = np.linalg.slogdet(variance)[1] + np.linalg.slogdet(information)[1]
    return -(df * (np.log(2 * np.pi * residual) + 1) + logdet) / 2, estimate, np.linalg.inv(information) * residual


@pytest.mark.parametrize("seed", range(40))
def test_statsmodels_finds_the_same_answer(seed: int) -> None:
    made = studio(seed)
    groups = [made.codes[name] for name in ("rider", "knee", "visit")]
    found = fit_rows(made.outcome, made.design, TERMS, *groups)
    expected = fit_mixed_model(made.outcome, made.design, TERMS, *groups)
    se = errors(expected.robust_covariance)
    assert -1e-8 < found.loglik - expected.loglik < 1e-4
    assert found.estimate == pytest.approx(expected.estimate, rel=1e-4, abs=1e-4 * se.min())
    assert errors(found.robust_covariance) == pytest.approx(se, rel=1e-4)
    assert found.df == pytest.approx(expected.df, rel=1e-4)
    assert found.influence == pytest.approx(expected.influence, abs=1e-4 * se.min())
    assert list(found.riders) == list(expected.riders)
    # Variances are the flattest directions of the likelihood: where statsmodels stops 1e-7 below the top, they are off by
    # half a thousandth of their standard error.
    assert [found.variance_rider, found.variance_knee, found.variance_visit, found.variance_residual] == pytest.approx(
        [expected.variance_rider, expected.variance_knee, expected.variance_visit, expected.variance_residual],
        rel=1e-3,
        abs=1e-3 * expected.variance_residual,
    )


@pytest.mark.parametrize("seed", range(24))
@pytest.mark.parametrize("names", [("knee", "visit"), ("visit",), ("knee",), ()])
def test_the_likelihood_written_out_is_highest_at_the_answer(seed: int, names: tuple[str, ...]) -> None:
    made = studio(seed)
    own = {name: made.codes[name] for name in names}
    found = fit_rows(made.outcome, made.design, TERMS, made.codes["rider"], **own)
    at = ratios(found)
    loglik, estimate, covariance = written_out(made, at)
    assert found.loglik == pytest.approx(loglik, abs=1e-8)
    assert found.estimate == pytest.approx(estimate, rel=1e-8, abs=1e-8 * errors(covariance).min())
    assert found.model_covariance == pytest.approx(covariance, rel=1e-7, abs=1e-9 * np.abs(covariance).max())
    for name in ("rider", *names):
        for step in (-1e-3, 1e-3):
            moved = at | {name: max(0.0, at[name] * (1 + step) if at[name] else step)}
            assert written_out(made, moved)[0] <= loglik + 1e-9

"""The within-knee model: what it refuses, and what must not change its answer."""

import numpy as np
import pytest
import statsmodels.api as sm

from shared.errors import NotEstimableError, TooFewError
from tests.rows_as_cells import fit_within_rows

RNG = np.random.default_rng(17)
RIDER = np.repeat(np.arange(30), 12)
KNEE = np.repeat(np.arange(60), 6)
VISIT = RIDER * 2 + np.tile(np.repeat([0, 1], 3), 60)
DOSE = RNG.integers(0, 4, 360).astype(float)
X = np.column_stack([np.ones(360), DOSE, RNG.normal(size=30)[RIDER]])
TERMS = ("intercept", "dose", "arch")
Y = (
    X @ [1.0, 0.5, -0.3]
    + 1.2 * RNG.normal(size=30)[RIDER]
    + RNG.normal(size=60)[KNEE]
    + 0.5 * RNG.normal(size=60)[VISIT]
    + 0.6 * RNG.normal(size=360)
)


def test_what_does_not_change_within_a_knee_is_refused() -> None:
    with pytest.raises(NotEstimableError, match="within a knee: arch"):
        fit_within_rows(Y, X[:, 1:], TERMS[1:], KNEE, RIDER)


def test_too_few_riders_are_refused() -> None:
    with pytest.raises(TooFewError, match="0 rider with a knee recorded twice"):
        fit_within_rows(Y, X[:, 1:2], ("dose",), np.arange(360), RIDER)


def test_knees_captured_once_change_nothing_within() -> None:
    plain = fit_within_rows(Y, X[:, 1:2], ("dose",), KNEE, RIDER)
    more = fit_within_rows(
        np.append(Y, 99.0), np.append(X[:, 1:2], [[7.0]], axis=0), ("dose",), np.append(KNEE, 99), np.append(RIDER, 99)
    )
    assert more.estimate == pytest.approx(plain.estimate)
    assert (more.n_riders, more.n_knees, more.n_rows) == (30, 60, 360)


def test_the_within_estimate_is_that_of_a_dummy_a_knee() -> None:
    """Source: statsmodels 0.15 OLS with one column a knee."""
    dummies = (KNEE[:, None] == np.arange(60)).astype(float)
    full = sm.OLS(Y, np.column_stack([DOSE, VISIT % 3 == 0, dummies])).fit()
    found = fit_within_rows(Y, np.column_stack([DOSE, VISIT % 3 == 0]), ("dose", "third"), KNEE, RIDER)
    assert found.estimate == pytest.approx(full.params[:2], rel=1e-9)
    assert found.residual_variance == pytest.approx(full.mse_resid, rel=1e-9)

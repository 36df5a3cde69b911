"""The two effect models: what they refuse, and what must not change their answer."""

import numpy as np
import pytest
import statsmodels.api as sm

from shared.errors import NotEstimableError, TooFewError
from shared.statistics.mixed_model import fit_mixed_model
from shared.statistics.within_knee import fit_within_knee

RNG = np.random.default_rng(17)
RIDER = np.repeat(np.arange(30), 12)
KNEE = np.repeat(np.arange(60), 6)
VISIT = RIDER * 2 + np.tile(np.repeat([0, 1], 3), 60)
DOSE = RNG.integers(0, 4, 360).astype(float)
X = np.column_stack([np.ones(360), DOSE, RNG.normal(size=30)[RIDER]])
TERMS = ("one", "dose", "arch")
Y = (
    X @ [1.0, 0.5, -0.3]
    + 1.2 * RNG.normal(size=30)[RIDER]
    + RNG.normal(size=60)[KNEE]
    + 0.5 * RNG.normal(size=60)[VISIT]
    + 0.6 * RNG.normal(size=360)
)


def test_row_order_labels_and_units_do_not_move_the_pooled_estimate() -> None:
    plain = fit_mixed_model(Y, X, TERMS, RIDER, KNEE, VISIT)
    order = RNG.permutation(360)
    names = np.array([f"rider {code}" for code in RIDER])
    moved = fit_mixed_model(1e3 * Y[order], X[order] * [1, 1e-3, 1e3], TERMS, names[order], KNEE[order], VISIT[order])
    factor = np.array([1e3, 1e6, 1.0])
    assert moved.estimate == pytest.approx(plain.estimate * factor, rel=1e-4)
    assert np.diag(moved.robust_covariance) == pytest.approx(np.diag(plain.robust_covariance) * factor**2, rel=1e-3)
    assert moved.variance_knee == pytest.approx(plain.variance_knee * 1e6, rel=1e-3)
    assert moved.loglik == pytest.approx(plain.loglik - 357 * np.log(1e3), abs=1e-3)


def test_knees_and_visits_count_within_their_rider() -> None:
    plain = fit_mixed_model(Y, X, TERMS, RIDER, KNEE, VISIT)
    side = fit_mixed_model(Y, X, TERMS, RIDER, KNEE % 2, VISIT % 2)
    assert side.estimate == pytest.approx(plain.estimate, rel=1e-9)


def test_intercepts_that_the_data_cannot_tell_apart_are_left_out() -> None:
    alone = fit_mixed_model(Y, X, TERMS, RIDER)
    assert fit_mixed_model(Y, X, TERMS, RIDER, np.arange(360), RIDER).estimate == pytest.approx(alone.estimate, rel=1e-9)
    assert fit_mixed_model(Y, X, TERMS, RIDER, np.arange(360), RIDER).variance_knee == 0


def test_tied_terms_and_missing_values_are_refused() -> None:
    with pytest.raises(NotEstimableError, match="shim is made up of dose"):
        fit_mixed_model(Y, np.column_stack([X, 2 * DOSE]), (*TERMS, "shim"), RIDER)
    with pytest.raises(NotEstimableError, match="missing"):
        fit_mixed_model(np.where(RIDER == 3, np.nan, Y), X, TERMS, RIDER)
    with pytest.raises(NotEstimableError, match="within a knee: arch"):
        fit_within_knee(Y, X[:, 1:], TERMS[1:], KNEE, RIDER)


def test_too_few_riders_are_refused() -> None:
    with pytest.raises(TooFewError, match="of 1 rider for"):
        fit_mixed_model(Y, X, TERMS, np.zeros(360, dtype=int))
    with pytest.raises(TooFewError, match="0 rider with a knee recorded twice"):
        fit_within_knee(Y, X[:, 1:2], ("dose",), np.arange(360), RIDER)


def test_knees_captured_once_change_nothing_within() -> None:
    plain = fit_within_knee(Y, X[:, 1:2], ("dose",), KNEE, RIDER)
    more = fit_within_knee(
        np.append(Y, 99.0), np.append(X[:, 1:2], [[7.0]], axis=0), ("dose",), np.append(KNEE, 99), np.append(RIDER, 99)
    )
    assert more.estimate == pytest.approx(plain.estimate)
    assert (more.n_riders, more.n_knees, more.n_rows) == (30, 60, 360)


def test_the_within_estimate_is_that_of_a_dummy_a_knee() -> None:
    """Source: statsmodels 0.15 OLS with one column a knee."""
    dummies = (KNEE[:, None] == np.arange(60)).astype(float)
    full = sm.OLS(Y, np.column_stack([DOSE, VISIT % 3 == 0, dummies])).fit()
    found = fit_within_knee(Y, np.column_stack([DOSE, VISIT % 3 == 0]), ("dose", "third"), KNEE, RIDER)
    assert found.estimate == pytest.approx(full.params[:2], rel=1e-9)
    assert found.residual_variance == pytest.approx(full.mse_resid, rel=1e-9)

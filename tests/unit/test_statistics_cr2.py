"""CR2 against its definition written out on whole matrices, and its limits."""

from math import comb

import numpy as np
import pytest
from numpy.typing import NDArray

from shared.statistics.clustered import cr2
from shared.statistics.clustered.cr2 import cr2_of_rows, power_series, serves_up_to, terms_for

RNG = np.random.default_rng(11)
RIDER = np.repeat(np.arange(14), RNG.integers(2, 9, 14))
X = np.column_stack([np.ones(len(RIDER)), RNG.normal(size=(len(RIDER), 2)), RIDER % 3 == 0])
E = RNG.normal(size=len(RIDER))


def defined(term: int) -> tuple[float, float]:
    """Variance and degrees of freedom of one term from the definition (Pustejovsky & Tipton 2018, equations 6, 8 and 13)."""
    bread = np.linalg.inv(X.T @ X)
    maker = np.eye(len(X)) - X @ bread @ X.T
    vectors = []
    for rider in range(14):
        own = np.flatnonzero(np.equal(RIDER, rider))
        values, turned = np.linalg.eigh(maker[np.ix_(own, own)])
        root = turned @ np.diag([v**-0.5 if v > 1e-8 else 0.0 for v in values]) @ turned.T
        vectors.append(maker[:, own] @ root @ X[own] @ bread[:, term])
    stacked = np.array(vectors)
    gram = stacked @ stacked.T
    residual = maker @ E
    return float(((stacked @ residual) ** 2).sum()), float(np.trace(gram) ** 2 / (gram**2).sum())


def found() -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    result = cr2_of_rows(X, E - X @ np.linalg.solve(X.T @ X, X.T @ E), RIDER)
    return np.diag(result.covariance), result.df


@pytest.mark.parametrize("term", range(4))
def test_variance_and_degrees_of_freedom_are_those_of_the_definition(term: int) -> None:
    variance, df = defined(term)
    assert found()[0][term] == pytest.approx(variance, rel=1e-9)
    assert found()[1][term] == pytest.approx(df, rel=1e-6)


def test_the_series_is_the_exact_adjustment(monkeypatch: pytest.MonkeyPatch) -> None:
    rider = np.repeat(np.arange(100), 4)
    x, residual = RNG.normal(size=(400, 3)), RNG.normal(size=400)
    series = cr2_of_rows(x, residual, rider)
    monkeypatch.setattr("shared.statistics.clustered.cr2._SERIES_UP_TO", -1.0)
    exact = cr2_of_rows(x, residual, rider)
    assert series.influence == pytest.approx(exact.influence, rel=1e-8, abs=1e-12)
    assert series.df == pytest.approx(exact.df, rel=1e-7)


@pytest.mark.parametrize("n_columns", [2, 9])
@pytest.mark.parametrize("n_terms", [0, 1, 2, 3, 12, 13])
def test_the_series_has_each_of_its_terms_once(n_terms: int, n_columns: int) -> None:
    """On a diagonal leverage the series is that of each number: 1 + s/2 + 3s^2/8 + 5s^3/16 + ..."""
    shares = np.array([0.0, 0.01, 0.2, 0.25])
    columns = np.arange(4.0 * n_columns).reshape(1, 4, n_columns) - 3
    coefficient = [comb(2 * k, k) / 4**k for k in range(n_terms + 1)]
    sums = sum(own * shares**k for k, own in enumerate(coefficient))
    found = cr2._by_series(np.diag(shares)[None], columns, n_terms)
    assert found == pytest.approx(np.asarray(sums)[:, None] * columns, rel=1e-13)


@pytest.mark.parametrize("leverage", [1e-9, 1e-4, 0.01, 0.06, 0.25])
def test_the_series_ends_where_its_rest_is_small_and_no_later(leverage: float) -> None:
    n_terms = terms_for(leverage)
    sums = 1 + np.cumsum(np.cumprod(power_series(n_terms)) * leverage ** np.arange(1, n_terms + 1))
    assert (1 - leverage) ** -0.5 - (sums[-1] if n_terms else 1.0) < 1e-10
    assert serves_up_to(n_terms) >= leverage and (n_terms == 0 or serves_up_to(n_terms - 1) < leverage)


def test_a_term_of_one_rider_alone_has_no_degrees_of_freedom() -> None:
    x = np.column_stack([X, RIDER == 5])
    result = cr2_of_rows(x, E - x @ np.linalg.solve(x.T @ x, x.T @ E), RIDER)
    assert result.df[4] == 0
    assert (result.df[:4] > 1).all()


def test_rows_in_any_order_give_the_same() -> None:
    order = RNG.permutation(len(X))
    residual = E - X @ np.linalg.solve(X.T @ X, X.T @ E)
    plain, moved = cr2_of_rows(X, residual, RIDER), cr2_of_rows(X[order], residual[order], RIDER[order])
    assert moved.influence == pytest.approx(plain.influence, rel=1e-9)
    assert moved.df == pytest.approx(plain.df, rel=1e-6)


def test_degrees_of_freedom_are_told_of_the_wanted_terms_alone() -> None:
    wanted = np.array([False, True, False, True])
    some, every = cr2_of_rows(X, E, RIDER, wanted=wanted), cr2_of_rows(X, E, RIDER)
    assert some.df[wanted] == pytest.approx(every.df[wanted], rel=1e-6) and np.isnan(some.df[~wanted]).all()
    assert some.influence == pytest.approx(every.influence, rel=1e-12)

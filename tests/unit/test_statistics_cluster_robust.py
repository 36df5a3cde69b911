"""CR2 against its definition written out on whole matrices, and its limits."""

import numpy as np
import pytest
from numpy.typing import NDArray

from shared.statistics.cluster_robust import cr2, cr2_of_rows, rider_sums

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
    result = cr2(*rider_sums(X, E - X @ np.linalg.solve(X.T @ X, X.T @ E), RIDER))
    return np.diag(result.covariance), result.df


@pytest.mark.parametrize("term", range(4))
def test_variance_and_degrees_of_freedom_are_those_of_the_definition(term: int) -> None:
    variance, df = defined(term)
    assert found()[0][term] == pytest.approx(variance, rel=1e-9)
    assert found()[1][term] == pytest.approx(df, rel=1e-9)


def test_the_series_for_small_shares_is_the_exact_adjustment(monkeypatch: pytest.MonkeyPatch) -> None:
    rider = np.repeat(np.arange(300), 4)
    x = RNG.normal(size=(1200, 3))
    sums = rider_sums(x, RNG.normal(size=1200), rider)
    series = cr2(*sums)
    monkeypatch.setattr("shared.statistics.cluster_robust._SERIES_UP_TO", -1.0)
    exact = cr2(*sums)
    assert series.covariance == pytest.approx(exact.covariance, rel=1e-7)
    assert series.df == pytest.approx(exact.df, rel=1e-5)


def test_a_term_of_one_rider_alone_has_no_degrees_of_freedom() -> None:
    x = np.column_stack([X, RIDER == 5])
    result = cr2(*rider_sums(x, E - x @ np.linalg.solve(x.T @ x, x.T @ E), RIDER))
    assert result.df[4] == 0
    assert (result.df[:4] > 1).all()


def test_rows_in_any_order_give_what_their_sums_give() -> None:
    order = RNG.permutation(len(X))
    residual = E - X @ np.linalg.solve(X.T @ X, X.T @ E)
    by_sums, by_rows = cr2(*rider_sums(X, residual, RIDER)), cr2_of_rows(X[order], residual[order], RIDER[order])
    assert by_rows.influence == pytest.approx(by_sums.influence, rel=1e-9)
    assert by_rows.covariance == pytest.approx(by_sums.covariance, rel=1e-9)
    assert by_rows.df == pytest.approx(by_sums.df, rel=1e-9)

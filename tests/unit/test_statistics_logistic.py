"""Logistic regression against statsmodels' Logit, and where there is no maximum."""

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.special import expit
from statsmodels.discrete.discrete_model import Logit

from shared.statistics.logistic import SEPARATED, logistic, weighted_gram

Array = NDArray[np.float64]


def drawn(n: int) -> tuple[Array, Array]:
    chance = np.random.default_rng(7)
    design = np.column_stack([np.ones(n), chance.normal(size=(n, 2)), chance.random(n) < 0.1])
    events = (chance.random(n) < expit(design @ [-1.0, 0.8, -1.5, 0.6])).astype(float)
    return events, design


@pytest.mark.parametrize("n", [200, 30_000])
def test_the_maximum_is_that_of_statsmodels(n: int) -> None:
    """30,000 rows begin from a part of the rows, 200 from zero."""
    events, design = drawn(n)
    found, known = logistic(events, design), Logit(events, design).fit(disp=0, method="newton", tol=1e-12)
    assert found.has_settled
    assert found.coefficients == pytest.approx(np.asarray(known.params), abs=1e-9)
    assert expit(found.log_odds) == pytest.approx(np.asarray(known.predict()), abs=1e-11)


@pytest.mark.parametrize("n", [400, 30_000])
def test_a_column_that_decides_has_no_maximum(n: int) -> None:
    events, design = drawn(n)
    events[design[:, 3] > 0] = 1.0
    found = logistic(events, design)
    assert not found.has_settled
    assert np.abs(found.log_odds).max() > SEPARATED


def test_events_that_only_a_part_lacks_are_no_separation() -> None:
    """The rows that give the starting point hold no event among the rare kind; all rows together hold two."""
    events, design = drawn(30_000)
    rare = design[:, 3] > 0
    events[rare] = 0.0
    events[[int(row) for row in np.flatnonzero(rare) if row % 3][:2]] = 1.0
    found, known = logistic(events, design), Logit(events, design).fit(disp=0, method="newton", tol=1e-12)
    assert found.has_settled
    assert found.coefficients == pytest.approx(np.asarray(known.params), abs=1e-8)


def test_tied_columns_are_refused() -> None:
    events, design = drawn(200)
    with pytest.raises(np.linalg.LinAlgError):
        logistic(events, np.column_stack([design, design[:, 1], np.zeros(200)]))


def test_the_weighted_cross_products_of_many_blocks() -> None:
    design, weights = drawn(10_000)[1], np.linspace(0, 1, 10_000)
    assert weighted_gram(design, weights) == pytest.approx(design.T @ (design * weights[:, None]), rel=1e-12)

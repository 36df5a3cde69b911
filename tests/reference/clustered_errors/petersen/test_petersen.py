"""Clustered errors against Petersen's panel; see SOURCE.md."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from numpy.typing import NDArray

from shared.statistics.clustered.cr2 import Sandwich, cr2_of_rows

PANEL = pd.read_csv(Path(__file__).with_name("petersen.csv"))
X = np.column_stack([np.ones(len(PANEL)), PANEL["x"]])
Y = PANEL["y"].to_numpy(float)
ESTIMATE = np.linalg.solve(X.T @ X, X.T @ Y)


def found(cluster: str) -> Sandwich:
    return cr2_of_rows(X, Y - X @ ESTIMATE, pd.factorize(PANEL[cluster])[0])


def errors(covariance: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.sqrt(np.diag(covariance))


def test_the_estimate() -> None:
    assert list(ESTIMATE) == pytest.approx([0.0296797, 1.0348334], rel=2e-6)


@pytest.mark.parametrize(("cluster", "expected"), [("firm", [0.0670409, 0.0506778]), ("year", [0.0233928, 0.0333961])])
def test_cr2(cluster: str, expected: list[float]) -> None:
    assert errors(found(cluster).covariance) == pytest.approx(expected, rel=3e-6)


def test_satterthwaite_degrees_of_freedom_by_year() -> None:
    assert found("year").df == pytest.approx([9.00, 8.99], abs=0.005)

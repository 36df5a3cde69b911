"""Clustered errors against Petersen's panel; see SOURCE.md."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from numpy.typing import NDArray

from shared.statistics.cluster_robust import cr1, cr2, rider_sums

PANEL = pd.read_csv(Path(__file__).with_name("petersen.csv"))
X = np.column_stack([np.ones(len(PANEL)), PANEL["x"]])
Y = PANEL["y"].to_numpy(float)
ESTIMATE = np.linalg.solve(X.T @ X, X.T @ Y)


def sums(cluster: str) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    return rider_sums(X, Y - X @ ESTIMATE, pd.factorize(PANEL[cluster])[0])


def errors(covariance: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.sqrt(np.diag(covariance))


def test_the_estimate() -> None:
    assert list(ESTIMATE) == pytest.approx([0.0296797, 1.0348334], rel=2e-6)


def test_cr0_by_firm() -> None:
    information, scores = sums("firm")
    assert errors(cr1(information, scores) * 499 / 500) == pytest.approx([0.0669390, 0.0505400], rel=2e-6)


@pytest.mark.parametrize(("cluster", "expected"), [("firm", [0.0670127, 0.0505957]), ("year", [0.0233867, 0.0333889])])
def test_cr1(cluster: str, expected: list[float]) -> None:
    """R's value has the further factor (n - 1) / (n - p), written out here."""
    assert errors(cr1(*sums(cluster)) * 4999 / 4998) == pytest.approx(expected, rel=3e-6)


@pytest.mark.parametrize(("cluster", "expected"), [("firm", [0.0670409, 0.0506778]), ("year", [0.0233928, 0.0333961])])
def test_cr2(cluster: str, expected: list[float]) -> None:
    assert errors(cr2(*sums(cluster)).covariance) == pytest.approx(expected, rel=3e-6)


def test_satterthwaite_degrees_of_freedom_by_year() -> None:
    assert cr2(*sums("year")).df == pytest.approx([9.00, 8.99], abs=0.005)

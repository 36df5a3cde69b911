"""A balanced design, where CR2 is CR1; see SOURCE.md."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from shared.statistics.clustered.cr2 import cr2_of_rows
from tests.rows_as_cells import fit_rows, fit_within_rows

STUDY = pd.read_csv(Path(__file__).with_name("sleepstudy.csv"))
X = np.column_stack([np.ones(len(STUDY)), STUDY["Days"]])
Y = STUDY["Reaction"].to_numpy(float)
SUBJECT = STUDY["Subject"].to_numpy()
CR1 = [6.824557, 1.545789]


def test_least_squares() -> None:
    found = cr2_of_rows(X, Y - X @ np.linalg.solve(X.T @ X, X.T @ Y), pd.factorize(SUBJECT)[0])
    assert np.sqrt(np.diag(found.covariance)) == pytest.approx(CR1, rel=1e-6)
    assert found.df == pytest.approx([17, 17], rel=1e-6)


def test_the_mixed_model() -> None:
    """In a balanced design the weights cancel: the errors are those of least squares."""
    found = fit_rows(Y, X, ("intercept", "days"), SUBJECT)
    assert np.sqrt(np.diag(found.robust_covariance)) == pytest.approx(CR1, rel=1e-6)
    assert found.df == pytest.approx([17, 17], rel=1e-6)


def test_differences_from_each_subjects_mean() -> None:
    found = fit_within_rows(Y, X[:, 1:], ("days",), SUBJECT, SUBJECT)
    assert found.estimate == pytest.approx([10.467286], rel=1e-6)
    assert found.robust_covariance[0, 0] ** 0.5 * (179 / 178) ** 0.5 == pytest.approx(1.550125, rel=1e-6)
    assert found.df == pytest.approx([17], rel=1e-6)

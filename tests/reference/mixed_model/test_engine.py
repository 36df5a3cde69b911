"""The pooled model against the published fits; see SOURCE.md."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from numpy.typing import NDArray

from shared.statistics.mixed.answers import MixedFit
from tests.rows_as_cells import fit_rows

HERE = Path(__file__).parent


def fitted(name: str, outcome: str, group: str, columns: dict[str, NDArray[np.float64]]) -> MixedFit:
    data = pd.read_csv(HERE / f"{name}.csv")
    design = np.column_stack([np.ones(len(data)), *columns.values()])
    return fit_rows(data[outcome].to_numpy(float), design, ("intercept", *columns), data[group].to_numpy())


def errors(covariance: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.sqrt(np.diag(covariance))


def close(found: MixedFit, estimate: list[float], error: list[float], rider: float, residual: float, loglik: float) -> None:
    """To the digits that are printed: this search goes to the bottom, so that no room is left for where it stopped."""
    assert found.estimate == pytest.approx(estimate, rel=3e-6)
    assert errors(found.model_covariance) == pytest.approx(error, rel=1e-5)
    assert found.variance_rider == pytest.approx(rider, rel=2e-5)
    assert found.variance_residual == pytest.approx(residual, rel=2e-5)
    assert found.loglik == pytest.approx(loglik, abs=2e-6)


def test_sleepstudy() -> None:
    days = pd.read_csv(HERE / "sleepstudy.csv")["Days"].to_numpy(float)
    found = fitted("sleepstudy", "Reaction", "Subject", {"days": days})
    close(found, [251.405105, 10.467286], [9.746716, 0.804221], 1378.1785, 960.4566, -893.232543)
    # Balanced: CR2 is CR1 of least squares, R clubSandwich 0.5.8, on 17 degrees of freedom.
    assert errors(found.robust_covariance) == pytest.approx([6.824557, 1.545789], rel=1e-6)
    assert found.df == pytest.approx([17.0, 17.0])


def test_ergostool() -> None:
    kind = pd.read_csv(HERE / "ergostool.csv")["Type"]
    found = fitted("ergostool", "effort", "Subject", {name: (kind == name).to_numpy(float) for name in ("T2", "T3", "T4")})
    contrast = 0.518684
    close(
        found,
        [8.555556, 3.888889, 2.222222, 0.666667],
        [0.576012, contrast, contrast, contrast],
        1.775463,
        1.210648,
        -60.565394,
    )


def test_orthodont() -> None:
    data = pd.read_csv(HERE / "orthodont.csv")
    age, female = data["age"].to_numpy(float), (data["Sex"] == "Female").to_numpy(float)
    found = fitted("orthodont", "distance", "Subject", {"age": age, "female": female, "age x female": age * female})
    error = [0.981312, 0.077501, 1.537421, 0.121421]
    close(found, [16.340625, 0.784375, 1.032102, -0.304830], error, 3.298634, 1.922055, -216.878625)


def test_dyestuff() -> None:
    close(fitted("dyestuff", "Yield", "Batch", {}), [1527.5], [19.3834], 1764.05, 2451.25, -159.827138)


def test_dyestuff2_has_a_variance_of_exactly_zero() -> None:
    found = fitted("dyestuff2", "Yield", "Batch", {})
    assert found.variance_rider == 0.0
    assert found.estimate == pytest.approx([5.6656], rel=1e-6)
    assert errors(found.model_covariance) == pytest.approx([0.678388], rel=1e-6)
    assert found.variance_residual**0.5 == pytest.approx(3.715684, rel=1e-6)


def test_rail() -> None:
    found = fitted("rail", "travel", "Rail", {})
    assert found.estimate == pytest.approx([66.5], rel=1e-9)
    assert errors(found.model_covariance) == pytest.approx([10.171037], rel=1e-6)
    assert found.variance_rider**0.5 == pytest.approx(24.805465, rel=1e-6)
    assert found.variance_residual**0.5 == pytest.approx(4.020779, rel=1e-6)

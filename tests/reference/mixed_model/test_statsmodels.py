"""statsmodels as it is asked here, with which the engine is compared elsewhere, against published fits; see SOURCE.md."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from numpy.typing import NDArray

from shared.statistics.mixed.answers import MixedFit
from tests.statsmodels_mixed import fit_mixed_model

HERE = Path(__file__).parent


def fitted(name: str, outcome: str, group: str, columns: dict[str, NDArray[np.float64]]) -> MixedFit:
    data = pd.read_csv(HERE / f"{name}.csv")
    design = np.column_stack([np.ones(len(data)), *columns.values()])
    codes = pd.factorize(data[group])[0]
    return fit_mixed_model(data[outcome].to_numpy(float), design, ("intercept", *columns), codes)


def close(found: MixedFit, estimate: list[float], errors: list[float], rider: float, residual: float, loglik: float) -> None:
    assert found.estimate == pytest.approx(estimate, rel=1e-4)
    assert np.sqrt(np.diag(found.model_covariance)) == pytest.approx(errors, rel=1e-4)
    assert found.variance_rider == pytest.approx(rider, rel=1e-3)
    assert found.variance_residual == pytest.approx(residual, rel=1e-3)
    assert found.loglik == pytest.approx(loglik, abs=1e-4)


def test_sleepstudy() -> None:
    days = pd.read_csv(HERE / "sleepstudy.csv")["Days"].to_numpy(float)
    found = fitted("sleepstudy", "Reaction", "Subject", {"days": days})
    close(found, [251.405105, 10.467286], [9.746716, 0.804221], 1378.1785, 960.4566, -893.232543)


def test_the_clustered_covariance_of_a_balanced_design_is_that_of_least_squares() -> None:
    """Source: R clubSandwich 0.5.8, vcovCR(lm(Reaction ~ Days), cluster = Subject, "CR1")."""
    days = pd.read_csv(HERE / "sleepstudy.csv")["Days"].to_numpy(float)
    found = fitted("sleepstudy", "Reaction", "Subject", {"days": days})
    assert np.sqrt(np.diag(found.robust_covariance)) == pytest.approx([6.824557, 1.545789], rel=1e-5)


def test_ergostool_the_closest_likeness_of_supports_within_riders() -> None:
    kind = pd.read_csv(HERE / "ergostool.csv")["Type"]
    found = fitted("ergostool", "effort", "Subject", {name: (kind == name).to_numpy(float) for name in ("T2", "T3", "T4")})
    close(
        found,
        [8.555556, 3.888889, 2.222222, 0.666667],
        [0.576012, 0.518684, 0.518684, 0.518684],
        1.775463,
        1.210648,
        -60.565394,
    )


def test_orthodont() -> None:
    data = pd.read_csv(HERE / "orthodont.csv")
    age, female = data["age"].to_numpy(float), (data["Sex"] == "Female").to_numpy(float)
    found = fitted("orthodont", "distance", "Subject", {"age": age, "female": female, "age x female": age * female})
    close(
        found,
        [16.340625, 0.784375, 1.032102, -0.304830],
        [0.981312, 0.077501, 1.537421, 0.121421],
        3.298634,
        1.922055,
        -216.878625,
    )


def test_dyestuff() -> None:
    close(fitted("dyestuff", "Yield", "Batch", {}), [1527.5], [19.3834], 1764.05, 2451.25, -159.827138)


def test_dyestuff2_has_a_variance_of_exactly_zero() -> None:
    found = fitted("dyestuff2", "Yield", "Batch", {})
    assert found.variance_rider == 0.0
    assert found.estimate == pytest.approx([5.6656], rel=1e-4)
    assert np.sqrt(np.diag(found.model_covariance)) == pytest.approx([0.678388], rel=1e-4)
    assert found.variance_residual**0.5 == pytest.approx(3.715684, rel=1e-4)


def test_rail() -> None:
    found = fitted("rail", "travel", "Rail", {})
    assert found.estimate == pytest.approx([66.5], rel=1e-4)
    assert np.sqrt(np.diag(found.model_covariance)) == pytest.approx([10.171037], rel=1e-4)
    assert found.variance_rider**0.5 == pytest.approx(24.805465, rel=1e-3)
    assert found.variance_residual**0.5 == pytest.approx(4.020779, rel=1e-3)

"""The engine, and statsmodels as the engine is compared with it elsewhere, against published fits; see SOURCE.md."""

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from shared.statistics.mixed.answers import MixedFit
from tests.rows_as_cells import fit_rows
from tests.statsmodels_mixed import fit_mixed_model

HERE = Path(__file__).parent


@dataclass(frozen=True)
class Way:
    """A way of fitting, and how near it comes: estimates, standard errors and variances relative, log-likelihood absolute;
    `digits` where enough are printed."""

    fit: Any
    estimate: float
    error: float
    variance: float
    loglik: float
    digits: float

    def fitted(self, name: str, outcome: str, group: str, design: dict[str, str]) -> MixedFit:
        """The fit of a file; `design` has each term's formula over the file's columns."""
        data = pd.read_csv(HERE / f"{name}.csv")
        columns = [data.eval(formula).to_numpy(float) for formula in design.values()]
        rows = np.column_stack([np.ones(len(data)), *columns])
        found: MixedFit = self.fit(data[outcome].to_numpy(float), rows, ("intercept", *design), pd.factorize(data[group])[0])
        return found

    def require(
        self, found: MixedFit, estimate: list[float], errors: list[float], rider: float, residual: float, loglik: float
    ) -> None:
        assert found.estimate == pytest.approx(estimate, rel=self.estimate)
        assert np.sqrt(np.diag(found.model_covariance)) == pytest.approx(errors, rel=self.error)
        assert found.variance_rider == pytest.approx(rider, rel=self.variance)
        assert found.variance_residual == pytest.approx(residual, rel=self.variance)
        assert found.loglik == pytest.approx(loglik, abs=self.loglik)


# The engine's search goes to the bottom, so that no room is left for where it stopped: to the digits that are printed.
ENGINE = Way(fit_rows, 3e-6, 1e-5, 2e-5, 2e-6, 1e-6)
STATSMODELS = Way(fit_mixed_model, 1e-4, 1e-4, 1e-3, 1e-4, 1e-4)


@pytest.fixture(params=[ENGINE, STATSMODELS], ids=["engine", "statsmodels"])
def way(request: pytest.FixtureRequest) -> Way:
    found: Way = request.param
    return found


def test_sleepstudy(way: Way) -> None:
    found = way.fitted("sleepstudy", "Reaction", "Subject", {"days": "Days"})
    way.require(found, [251.405105, 10.467286], [9.746716, 0.804221], 1378.1785, 960.4566, -893.232543)
    # Balanced, so that the clustered covariance is that of least squares: R clubSandwich 0.5.8, vcovCR(lm(Reaction ~ Days),
    # cluster = Subject, "CR1"), on 17 degrees of freedom.
    assert np.sqrt(np.diag(found.robust_covariance)) == pytest.approx([6.824557, 1.545789], rel=min(way.digits, 1e-5))


def test_the_degrees_of_freedom_of_a_balanced_design_are_its_subjects_less_one() -> None:
    assert ENGINE.fitted("sleepstudy", "Reaction", "Subject", {"days": "Days"}).df == pytest.approx([17.0, 17.0])


def test_ergostool_the_closest_likeness_of_supports_within_riders(way: Way) -> None:
    found = way.fitted("ergostool", "effort", "Subject", {kind: f"Type == '{kind}'" for kind in ("T2", "T3", "T4")})
    contrast = 0.518684
    way.require(
        found,
        [8.555556, 3.888889, 2.222222, 0.666667],
        [0.576012, contrast, contrast, contrast],
        1.775463,
        1.210648,
        -60.565394,
    )


def test_orthodont(way: Way) -> None:
    design = {"age": "age", "female": "Sex == 'Female'", "age x female": "age * (Sex == 'Female')"}
    errors = [0.981312, 0.077501, 1.537421, 0.121421]
    found = way.fitted("orthodont", "distance", "Subject", design)
    way.require(found, [16.340625, 0.784375, 1.032102, -0.304830], errors, 3.298634, 1.922055, -216.878625)


def test_dyestuff(way: Way) -> None:
    way.require(way.fitted("dyestuff", "Yield", "Batch", {}), [1527.5], [19.3834], 1764.05, 2451.25, -159.827138)


def test_dyestuff2_has_a_variance_of_exactly_zero(way: Way) -> None:
    found = way.fitted("dyestuff2", "Yield", "Batch", {})
    assert found.variance_rider == 0.0
    assert found.estimate == pytest.approx([5.6656], rel=way.digits)
    assert np.sqrt(np.diag(found.model_covariance)) == pytest.approx([0.678388], rel=way.digits)
    assert found.variance_residual**0.5 == pytest.approx(3.715684, rel=way.digits)


def test_rail(way: Way) -> None:
    found = way.fitted("rail", "travel", "Rail", {})
    assert found.estimate == pytest.approx([66.5], rel=1e-9)
    assert np.sqrt(np.diag(found.model_covariance)) == pytest.approx([10.171037], rel=way.digits)
    assert found.variance_rider**0.5 == pytest.approx(24.805465, rel=way.digits)
    assert found.variance_residual**0.5 == pytest.approx(4.020779, rel=way.digits)

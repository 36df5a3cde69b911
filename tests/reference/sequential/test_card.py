"""Two-stage least squares and two-step GMM beside linearmodels, on the data of Card 1995 that linearmodels ships.

What schooling pays, nearness of a college being the instrument. Published: Card 1995, "Using geographic variation in college
proximity to estimate the return to schooling", table 3; Wooldridge, Introductory Econometrics, example 15.4: 0.132 (0.055).
"""

import numpy as np
import pandas as pd
import pytest
from linearmodels.datasets import card
from linearmodels.iv import IV2SLS, IVGMM

from shared.statistics.sequential.fits import strengths
from shared.statistics.sequential.gmm import over_identification, two_step

HELD = ["exper", "expersq", "black", "south", "smsa", *(f"reg66{number}" for number in range(1, 9)), "smsa66"]


@pytest.fixture(scope="module")
def data() -> pd.DataFrame:
    return card.load()[["lwage", "educ", "nearc2", "nearc4", *HELD]].assign(const=1.0)


def arrays(data: pd.DataFrame, *instruments: str) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    held = ["const", *HELD]
    return tuple(data[columns].to_numpy(float) for columns in (["educ", *held], [*instruments, *held], "lwage"))  # type: ignore[return-value]


@pytest.mark.parametrize("people", [1, 5])
def test_one_instrument_gives_two_stage_least_squares_with_clustered_errors(data: pd.DataFrame, people: int) -> None:
    """people: how many make a cluster, in the order of the file; with one it is the errors that are robust to unequal noise."""
    cluster = np.arange(len(data)) // people
    x, z, y = arrays(data, "nearc4")
    ours = two_step(x, z, y, cluster)
    theirs = IV2SLS(data.lwage, data[["const", *HELD]], data.educ, data.nearc4).fit(
        cov_type="clustered", clusters=cluster, debiased=False
    )
    assert round(float(ours.estimate[0]), 3) == 0.132
    assert ours.estimate[0] == pytest.approx(theirs.params["educ"], rel=1e-7)
    assert ours.covariance[0, 0] ** 0.5 == pytest.approx(theirs.std_errors["educ"], rel=1e-7)
    if people == 1:
        assert ours.covariance[0, 0] ** 0.5 == pytest.approx(0.055, abs=0.0015)


def test_the_first_stage_s_strength_is_theirs(data: pd.DataFrame) -> None:
    x, z, _ = arrays(data, "nearc4")
    theirs = IV2SLS(data.lwage, data[["const", *HELD]], data.educ, data.nearc4).fit(cov_type="robust", debiased=False)
    ours = strengths(x, z, 1, np.arange(len(x)))
    assert ours[0] == pytest.approx(theirs.first_stage.diagnostics["f.stat"]["educ"], rel=1e-7)


def test_two_instruments_give_their_two_steps_and_their_j(data: pd.DataFrame) -> None:
    own = np.arange(len(data))
    x, z, y = arrays(data, "nearc2", "nearc4")
    ours = two_step(x, z, y, own)
    theirs = IVGMM(data.lwage, data[["const", *HELD]], data.educ, data[["nearc2", "nearc4"]]).fit(iter_limit=2)
    assert ours.estimate[0] == pytest.approx(theirs.params["educ"], rel=1e-7)
    assert ours.j == pytest.approx(theirs.j_stat.stat, rel=1e-7)
    assert over_identification(x, z, y, own) == pytest.approx(theirs.j_stat.pval, rel=1e-7)

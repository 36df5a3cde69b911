"""The within-knee estimator's clustered errors against Petersen's panel; see SOURCE.md."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from shared.statistics.within_knee import fit_within_knee

PANEL = pd.read_csv(Path(__file__).with_name("petersen.csv"))


@pytest.mark.parametrize(("cluster", "error"), [("firm", 0.0505957), ("year", 0.0333889)])
def test_the_slope_and_its_clustered_error(cluster: str, error: float) -> None:
    x, y = PANEL[["x"]].to_numpy(float), PANEL["y"].to_numpy(float)
    one_group = np.zeros(len(PANEL), dtype=np.int64)
    found = fit_within_knee(y, x, ("x",), one_group, PANEL[cluster].to_numpy())
    assert found.estimate == pytest.approx([1.0348334], rel=1e-6)
    assert found.robust_covariance[0, 0] ** 0.5 == pytest.approx(error * (4998 / 4999) ** 0.5, rel=1e-5)

"""Typical error and limits of agreement against Bland & Altman; see SOURCE.md."""

from pathlib import Path

import pandas as pd
import pytest

from shared.statistics.agreement import typical_error

PEFR = pd.read_csv(Path(__file__).with_name("bland_altman_1986_pefr.csv"))


@pytest.mark.parametrize(
    ("meter", "mean", "sd", "error"), [("large", 4.941176, 21.724038, 15.361215), ("mini", -2.882353, 28.872310, 20.415806)]
)
def test_repeatability_of_each_meter(meter: str, mean: float, sd: float, error: float) -> None:
    found = typical_error((PEFR[f"{meter}1"] - PEFR[f"{meter}2"]).to_numpy(float), 0.95)
    assert found.mean_difference == pytest.approx(mean, rel=1e-6)
    assert (found.limit_high - found.limit_low) / 3.92 == pytest.approx(sd, rel=1e-6)
    assert found.typical_error == pytest.approx(error, rel=1e-6)
    assert found.mdc95 == pytest.approx(1.96 * 2**0.5 * error, rel=1e-6)


def test_limits_of_agreement_between_the_meters() -> None:
    found = typical_error((PEFR["large1"] - PEFR["mini1"]).to_numpy(float), 0.95)
    assert found.mean_difference == pytest.approx(-2.117647, rel=1e-6)
    assert (found.limit_low, found.limit_high) == pytest.approx((-78.097302, 73.862007), rel=1e-6)
    assert (found.mean_difference_low, found.mean_difference_high) == pytest.approx((-22.048838, 17.813544), rel=1e-6)

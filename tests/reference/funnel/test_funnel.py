"""Funnel limits, overdispersion and shrinkage against R and the Surgical example; see SOURCE.md."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from shared.errors import TooFewError
from shared.statistics.funnel import Winsorising, binomial_limit, dispersion, shrunken, winsorised

SURGICAL = pd.read_csv(Path(__file__).with_name("bugs_surgical.csv"))
N, DEATHS = SURGICAL["n"].to_numpy(float), SURGICAL["r"].to_numpy(float)
SHARE = DEATHS.sum() / N.sum()
ERROR = np.sqrt(SHARE * (1 - SHARE) / N)
DIFFERENCE = DEATHS / N - SHARE
Z = DIFFERENCE / ERROR


@pytest.mark.parametrize(
    ("share", "n", "limits"),
    [
        (0.1, 50, (0.0138629, 0.1797227, 0.0, 0.2401284)),
        (0.1, 100, (0.0403806, 0.1577186, 0.0141789, 0.1983567)),
        (0.1, 200, (0.0576907, 0.1409717, 0.0378515, 0.1685673)),
        (0.25, 100, (0.1623550, 0.3323232, 0.1195672, 0.3856066)),
    ],
)
def test_exact_interpolated_limits(share: float, n: int, limits: tuple[float, ...]) -> None:
    found = binomial_limit(share, np.array(n), np.array([0.025, 0.975, 0.001, 0.999]))
    assert found == pytest.approx(limits, abs=1e-7)


def test_z_scores_of_the_twelve_hospitals() -> None:
    assert float(SHARE) == pytest.approx(0.0739161, abs=1e-7)
    expected = [-1.936838, 2.218219, -0.278905, -1.862962, -1.998786, -0.406118, -0.609374, 3.938165, -0.345523, 0.322157]
    assert Z.tolist() == pytest.approx([*expected, 2.407336, -0.525730], abs=1e-6)


@pytest.mark.parametrize(
    ("share", "rule", "phi"), [(0.0, "interpolated", 3.212970), (0.1, "interpolated", 2.363287), (0.1, "counted", 2.383164)]
)
def test_overdispersion_by_either_rule(share: float, rule: Winsorising, phi: float) -> None:
    assert dispersion(Z, ERROR, share, rule).phi == pytest.approx(phi, abs=1e-6)


def test_additive_overdispersion_draws_hospital_h_in() -> None:
    raw = dispersion(Z, ERROR, 0.0, "interpolated").tau_squared
    assert raw == pytest.approx(0.000777630, abs=1e-9)
    assert dispersion(Z, ERROR, 0.1, "interpolated").tau_squared == pytest.approx(0.000489890, abs=1e-9)
    assert DIFFERENCE[7] / (ERROR[7] ** 2 + raw) ** 0.5 == pytest.approx(2.1226, abs=1e-4)


def test_shrunken_shares_are_near_those_of_a_random_intercept_model() -> None:
    found = SHARE + shrunken(DIFFERENCE, ERROR, dispersion(Z, ERROR, 0.0, "interpolated").tau_squared, 0.95).estimate
    assert (found[7], found[0]) == pytest.approx((0.123086, 0.053788), abs=0.006)


def test_nothing_beyond_chance_shrinks_all_the_way() -> None:
    even = np.array([0.5, -0.5, 0.2, -0.2])
    assert dispersion(even, np.full(4, 0.1), 0.0, "counted").tau_squared == 0
    found = shrunken(even, np.full(4, 0.1), 0.0, 0.95)
    assert found.estimate.tolist() == found.low.tolist() == found.high.tolist() == [0, 0, 0, 0]


def test_counted_winsorising_leaves_a_handful_alone() -> None:
    assert winsorised(np.array([-3.0, 0.0, 1.0, 5.0]), 0.1, "counted").tolist() == [-3, 0, 1, 5]
    assert winsorised(np.array([-3.0, 0.0, 1.0, 5.0]), 0.25, "counted").tolist() == [0, 0, 1, 1]


def test_too_few_units_are_refused() -> None:
    with pytest.raises(TooFewError, match="2 fitters with enough fits"):
        dispersion(np.array([1.0, -1.0]), np.array([0.1, 0.1]), 0.1, "interpolated")
    with pytest.raises(TooFewError):
        binomial_limit(0.1, np.array([5, 0]), np.array(0.025))

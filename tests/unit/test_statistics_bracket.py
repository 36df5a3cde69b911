"""The bracket of two estimates, and the noise of their difference."""

import numpy as np
import pytest

from shared.statistics.bracket import bracket, difference_errors
from shared.statistics.intervals import TermEstimate, t_intervals
from tests.rows_as_cells import fit_rows, fit_within_rows


def term(estimate: float, error: float, df: float = 1000.0) -> TermEstimate:
    return t_intervals(("a",), np.array([estimate]), np.array([[error**2]]), np.array([df]), 0.95)["a"]


def test_the_bracket_goes_from_the_lower_to_the_higher_end() -> None:
    pooled, within = term(1.0, 0.1), term(1.2, 0.3)
    found = bracket(pooled, within, 0.95)
    assert (found.low, found.high) == (within.low, within.high)
    assert not found.disagree
    assert found.difference == pytest.approx(-0.2)
    assert found.difference_se == pytest.approx((0.1**2 + 0.3**2) ** 0.5)


def test_estimates_far_apart_disagree() -> None:
    assert bracket(term(1.0, 0.1), term(2.0, 0.1), 0.95).disagree


def test_a_term_that_rests_on_one_rider_never_disagrees() -> None:
    alone = term(1.0, 0.0, df=0.0)
    assert (alone.low, alone.high, alone.p_value) == (-np.inf, np.inf, 1.0)
    assert not bracket(alone, term(9.0, 0.1), 0.95).disagree


def test_where_all_information_lies_within_knees_the_estimates_are_one_and_differ_without_noise() -> None:
    """Balanced: each knee has the same doses, so that the pooled estimate is the within-knee one."""
    rng = np.random.default_rng(3)
    rider = np.repeat(np.arange(20), 4)
    dose = np.tile([0.0, 1.0, 2.0, 3.0], 20)
    outcome = rng.normal(size=20)[rider] + 0.5 * dose + rng.normal(size=80)
    pooled = fit_rows(outcome, np.column_stack([np.ones(80), dose]), ("intercept", "dose"), rider)
    within = fit_within_rows(outcome, dose[:, None], ("dose",), rider, rider)
    error = difference_errors(pooled, within, ["dose"])["dose"]
    assert error < 1e-6
    of_dose = bracket(pooled.table(0.95)["dose"], within.table(0.95)["dose"], 0.95, error)
    assert of_dose.difference == pytest.approx(0.0, abs=1e-6)


def test_riders_are_matched_by_their_labels() -> None:
    """By hand: a rider in both counts once, with the difference; a rider in one of them with what it adds there."""
    rng = np.random.default_rng(4)
    rider = np.array([f"rider {code}" for code in np.repeat(np.arange(12), 4)])
    dose = rng.integers(0, 3, 48).astype(float)
    outcome = rng.normal(size=48)
    pooled = fit_rows(outcome, np.column_stack([np.ones(48), dose]), ("intercept", "dose"), rider)
    other = rng.permutation(np.flatnonzero(rider != "rider 3"))
    within = fit_within_rows(outcome[other], dose[other, None], ("dose",), rider[other], rider[other])
    by_hand = dict(zip(pooled.riders, pooled.influence[:, 1], strict=True))
    for name, added in zip(within.riders, within.influence[:, 0], strict=True):
        by_hand[name] -= added
    assert len(within.riders) == 11
    assert difference_errors(pooled, within, ["dose"])["dose"] == pytest.approx(np.linalg.norm(list(by_hand.values())))


def test_the_joint_noise_is_that_of_repeated_draws() -> None:
    """Source: simulation; 200 draws give the SD of the difference within 4 x 5 %."""
    rng = np.random.default_rng(5)
    rider, knee = np.repeat(np.arange(60), 6), np.repeat(np.arange(120), 3)
    dose = rng.integers(0, 4, 360).astype(float) + rng.integers(0, 3, 60)[rider]
    differences, errors = [], []
    for _ in range(200):
        outcome = rng.normal(size=60)[rider] + rng.normal(size=120)[knee] + 0.5 * dose + rng.normal(size=360)
        pooled = fit_within_rows(outcome, dose[:, None], ("dose",), np.zeros(360, dtype=int), rider)
        within = fit_within_rows(outcome, dose[:, None], ("dose",), knee, rider)
        differences.append(pooled.estimate[0] - within.estimate[0])
        errors.append(float(np.linalg.norm(pooled.influence[:, 0] - within.influence[:, 0])))
    assert np.mean(np.square(errors)) ** 0.5 == pytest.approx(np.std(differences), rel=0.2)

"""What was not seen: bounds by hand, critical values, and how often each interval holds the truth in simulated follow-ups."""

import numpy as np
import pytest

from shared.errors import TooFewError
from shared.statistics.clustered.means import clustered_mean, clustered_share
from shared.statistics.unseen import bounds_of_mean, critical_value, mean_if_alike, weights_of_seen

NAN = np.nan


@pytest.mark.parametrize(
    ("gap", "expected"), [(0, 1.959964), (0.25, 1.850183), (0.5, 1.769713), (1, 1.681477), (2, 1.646146), (4, 1.644854)]
)
def test_critical_values_of_imbens_and_manski(gap: float, expected: float) -> None:
    """Imbens & Manski 2004, Econometrica 72:1845, equation 6, solved numerically elsewhere (six digits)."""
    assert critical_value(gap, 0.95) == pytest.approx(expected, abs=2e-6)


def test_bounds_are_the_means_with_the_unseen_at_either_end() -> None:
    values, rider = np.array([3.0, 1.0, NAN, NAN, 2.0]), np.arange(5)
    found = bounds_of_mean(values, rider, (0.0, 10.0), 0.95, is_share=False)
    assert (found.low, found.high) == pytest.approx((6 / 5, 26 / 5))
    assert 0 <= found.interval_low < found.low < found.high < found.interval_high <= 10


def test_where_all_were_seen_bounds_are_the_usual_interval() -> None:
    events, rider = np.array([1.0, 0.0, 1.0, 1.0, 0.0, 1.0, 1.0, 1.0]), np.arange(8)
    found, usual = bounds_of_mean(events, rider, (0.0, 1.0), 0.95, is_share=True), clustered_share(events, rider, 0.95)
    assert (found.low, found.high) == (0.75, 0.75)
    assert (found.interval_low, found.interval_high) == pytest.approx((usual.low, usual.high))


def test_one_rider_has_no_interval() -> None:
    with pytest.raises(TooFewError, match="1 rider"):
        bounds_of_mean(np.array([1.0, NAN]), np.zeros(2, int), (0.0, 1.0), 0.95, is_share=True)


def test_where_all_were_seen_the_mean_is_their_mean() -> None:
    rng = np.random.default_rng(1610)
    design = np.column_stack([np.ones(60), rng.normal(size=60)])
    values = rng.normal(size=60)
    weight = weights_of_seen(np.ones(60, bool), design, ("intercept", "known"))
    assert weight.tolist() == [1.0] * 60
    assert mean_if_alike(values, weight, design, np.arange(60), 0.95).estimate == pytest.approx(values.mean())


def test_a_column_that_is_tied_among_the_seen_does_no_harm() -> None:
    rng = np.random.default_rng(1611)
    one, values = rng.normal(size=80), rng.normal(size=80)
    values[50:] = NAN
    single = np.column_stack([np.ones(80), one])
    weight = np.where(np.isfinite(values), 1.0, 0.0)
    found = [
        mean_if_alike(values, weight, design, np.arange(80), 0.95) for design in (single, np.column_stack([single, 2 * one]))
    ]
    assert found[0].estimate == pytest.approx(found[1].estimate)
    assert found[0].high == pytest.approx(found[1].high)


def follow_ups(rng: np.random.Generator, by: str, n: int = 500) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Pain of all riders at the follow-up, who was seen, what was known at departure, and the rider, of n fits.

    by: what keeps riders away, the pain that was known when they left or the pain that they have since.
    """
    rider = rng.integers(0, int(0.7 * n), n)
    pain_left = np.clip(np.round(2.5 + 1.5 * rng.normal(size=int(0.7 * n))[rider] + rng.normal(size=n)), 0, 10)
    tilt = np.abs(rng.normal(1.5, 1.0, n))
    pain = np.clip(np.round(0.6 + 0.7 * pain_left + 0.3 * tilt + rng.normal(size=n)), 0, 10)
    log_odds = {"known": -0.4 - 0.45 * (pain_left - 2.5) - 0.3 * (tilt - 1.5), "pain": -0.4 - 0.6 * (pain - 2.8)}[by]
    seen = rng.random(n) < 1 / (1 + np.exp(-log_odds))
    return pain, seen, np.column_stack([np.ones(n), pain_left, tilt]), rider


def coverage(by: str, n_studios: int) -> dict[str, float]:
    """How often each interval holds the mean pain of all riders there could be."""
    rng = np.random.default_rng([1612, len(by)])
    truth = follow_ups(rng, by, 300_000)[0].mean()
    held = dict.fromkeys(("seen", "alike", "bounds"), 0)
    for _ in range(n_studios):
        pain, seen, design, rider = follow_ups(rng, by)
        values = np.where(seen, pain, NAN)
        alone = clustered_mean(pain[seen], rider[seen], 0.95)
        weight = weights_of_seen(seen, design, ("intercept", "pain", "tilt"))
        alike = mean_if_alike(values, weight, design, rider, 0.95)
        bounds = bounds_of_mean(values, rider, (0.0, 10.0), 0.95, is_share=False)
        held["seen"] += alone.low <= truth <= alone.high
        held["alike"] += alike.low <= truth <= alike.high
        held["bounds"] += bounds.interval_low <= truth <= bounds.interval_high
    return {name: n / n_studios for name, n in held.items()}


def test_weights_reach_the_truth_where_what_was_known_keeps_riders_away() -> None:
    found = coverage("known", 150)
    assert found["seen"] < 0.2
    # 95 % less two standard errors of 150 studios.
    assert found["alike"] >= 0.95 - 2 * 0.018
    assert found["bounds"] >= 0.95


def test_bounds_alone_hold_where_the_pain_itself_keeps_riders_away() -> None:
    found = coverage("pain", 100)
    assert found["seen"] == 0
    assert found["alike"] < 0.2
    assert found["bounds"] >= 0.95

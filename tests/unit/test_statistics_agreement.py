"""Typical error: what riders with several pairs and heavy tails do to its interval."""

import numpy as np
import pytest

from shared.errors import TooFewError
from shared.statistics.agreement import typical_error


def test_pairs_that_repeat_each_other_count_as_fewer() -> None:
    once = np.random.default_rng(1).normal(size=40)
    rider = np.arange(40)
    plain, copied = typical_error(once, 0.95, rider), typical_error(np.repeat(once, 5), 0.95, np.repeat(rider, 5))
    assert copied.mean_difference_high - copied.mean_difference_low == pytest.approx(
        plain.mean_difference_high - plain.mean_difference_low, rel=1e-9
    )
    # Only n - 1 in the SD's denominator differs: 39/40 against 199/200.
    assert copied.typical_error == pytest.approx(plain.typical_error * (200 / 199 * 39 / 40) ** 0.5, rel=1e-9)
    width, of_copies = (f.typical_error_high - f.typical_error_low for f in (plain, copied))
    assert of_copies == pytest.approx(width, rel=0.05)
    assert typical_error(np.repeat(once, 5), 0.95).typical_error_high < copied.typical_error_high


def coverage(tails: str) -> tuple[float, float]:
    """Shares of 400 draws of 120 riders with two pairs each whose interval holds the true error: by rider, and by pair."""
    rng = np.random.default_rng(2)
    rider, truth = np.repeat(np.arange(120), 2), 0.5**0.5
    by_rider = by_pair = 0
    for _ in range(400):
        if tails == "heavy":
            noise = rng.standard_t(5, size=240) / (5 / 3) ** 0.5
        else:
            noise = (rng.normal(size=120)[rider] + rng.normal(size=240)) / 2**0.5
        found, plain = typical_error(noise, 0.95, rider), typical_error(noise, 0.95)
        by_rider += found.typical_error_low <= truth <= found.typical_error_high
        by_pair += plain.typical_error_low <= truth <= plain.typical_error_high
    return by_rider / 400, by_pair / 400


def test_noise_that_pairs_of_a_rider_share_leaves_the_coverage() -> None:
    """Over 1,500 draws: 94 % by rider, 92 % by pair. Monte Carlo margin of 400 draws: three standard errors, 3.3 points."""
    by_rider, by_pair = coverage("shared")
    assert by_rider >= 0.95 - 0.033
    assert by_pair < by_rider


def test_heavy_tails_leave_most_of_the_coverage() -> None:
    """Over 1,500 draws: 92 % by rider, 77 % by pair; the fourth moment of t noise on 5 df is slow to be learned."""
    by_rider, by_pair = coverage("heavy")
    assert by_rider >= 0.92 - 0.041
    assert by_pair < 0.85


def test_too_few_are_refused() -> None:
    with pytest.raises(TooFewError, match="2 repeat pairs"):
        typical_error(np.array([0.1, 0.2]), 0.95)
    with pytest.raises(TooFewError, match="of 2 riders"):
        typical_error(np.array([0.1, 0.2, 0.4]), 0.95, np.array(["a", "a", "b"]))


def test_the_smallest_real_change_and_the_limits_follow_from_the_spread_of_the_pairs() -> None:
    """Differences of 1, −1, 1, −1 have SD √(4/3) = 1.1547: typical error SD/√2 = 0.8165, smallest real change 1.96 SD = 2.2632
    (Weir 2005, J Strength Cond Res 19:231), limits of agreement ± 1.96 SD (Bland & Altman 1986, Lancet i:307)."""
    found = typical_error(np.array([1.0, -1.0, 1.0, -1.0]), 0.95)
    assert (found.typical_error, found.mdc95) == pytest.approx((0.8165, 2.2632), abs=1e-4)
    assert (found.limit_low, found.limit_high) == pytest.approx((-2.2632, 2.2632), abs=1e-4)

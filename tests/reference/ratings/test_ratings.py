"""The signed-rank test against Hollander & Wolfe and scipy; see SOURCE.md."""

import numpy as np
import pytest
from scipy import stats

from shared.errors import TooFewError
from shared.statistics.ordinal import paired_ratings, signed_rank

BEFORE = np.array([1.83, 0.50, 1.62, 2.48, 1.68, 1.88, 1.55, 3.06, 1.30])
AFTER = np.array([0.878, 0.647, 0.598, 2.05, 1.06, 1.29, 1.06, 3.14, 1.29])


def test_depression_before_and_after() -> None:
    change = BEFORE - AFTER
    assert stats.wilcoxon(change, alternative="greater").pvalue == pytest.approx(0.01953, abs=5e-6)  # the data are as published
    assert signed_rank(change, np.arange(9)) == pytest.approx(2 * stats.norm.sf((40 - 22.5) / (9 * 10 * 19 / 24) ** 0.5))


def test_one_row_a_rider_is_wilcoxons_test_with_pratts_zeros() -> None:
    change = np.random.default_rng(11).integers(-2, 4, 60).astype(float)
    assert (change == 0).sum() > 5
    expected = stats.wilcoxon(change, zero_method="pratt", correction=False, method="asymptotic").pvalue
    assert signed_rank(change, np.arange(60)) == pytest.approx(expected, rel=1e-9)


def test_pratts_zeros_weaken_what_dropped_zeros_would_claim() -> None:
    change = np.r_[np.zeros(40), np.ones(9), -2 * np.ones(2)]
    assert signed_rank(change, np.arange(51)) != pytest.approx(signed_rank(change[40:], np.arange(11)), rel=1e-3)


def test_rows_that_repeat_each_other_count_once() -> None:
    """Three identical rows of each rider must not make the evidence three times as strong."""
    change = np.random.default_rng(3).normal(0.4, 1.0, 30)
    once = signed_rank(change, np.arange(30))
    thrice = signed_rank(np.repeat(change, 3), np.repeat(np.arange(30), 3))
    assert thrice == pytest.approx(once, rel=0.05)
    assert signed_rank(np.repeat(change, 3), np.arange(90)) < once / 5


def test_the_test_keeps_its_level_with_several_rows_a_rider() -> None:
    """400 studios without any change, riders' rows alike: about one in twenty is claimed, by Monte Carlo within 3 SE."""
    rng = np.random.default_rng(1)
    rider = np.repeat(np.arange(40), 3)
    claimed = [signed_rank(np.round(rng.normal(0, 1, 40)[rider] + rng.normal(0, 0.7, 120)), rider) < 0.05 for _ in range(400)]
    assert abs(np.mean(claimed) - 0.05) < 3 * (0.05 * 0.95 / 400) ** 0.5


def test_shares_mean_and_median_of_ratings() -> None:
    change = np.array([2.0, 1.0, 0.0, -1.0, 3.0, 0.0, 1.0, 1.0])
    found = paired_ratings(change, np.arange(8), 0.95, more_is_better=True)
    assert (found.better.estimate, found.same.estimate, found.worse.estimate) == (5 / 8, 2 / 8, 1 / 8)
    assert (found.mean.estimate, found.median) == (7 / 8, 1.0)
    pain = paired_ratings(change, np.arange(8), 0.95, more_is_better=False)
    assert (pain.better.estimate, pain.worse.estimate, pain.mean.estimate) == (1 / 8, 5 / 8, 7 / 8)


def test_few_moved_scores_carry_no_p_value() -> None:
    change = np.array([1.0, 1.0, 1.0, 1.0, 1.0, 0.0, 0.0, 0.0])
    assert paired_ratings(change, np.arange(8), 0.95, more_is_better=True).p_value is None
    with pytest.raises(TooFewError, match="the scores of 5 riders moved, and a test needs at least 6"):
        signed_rank(change, np.arange(8))

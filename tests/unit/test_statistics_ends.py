"""Ends of intervals and p-values of small statistics, worked out by hand: at other levels, at the edges, of sums of terms."""

from math import sqrt

import numpy as np
import pytest

from shared.statistics.intervals import half_width, sum_of_terms, two_sided
from shared.statistics.proportions import share_difference, share_difference_p, wilson_interval

# The normal curve's ends of 99 % and 90 %; Student's t with ten degrees of freedom is passed by 2.228 with 0.05 on both sides.
Z_99, Z_90, T_10 = 2.575829, 1.644854, 2.228139


def by_hand(events: int, n: int, z: float) -> tuple[float, float]:
    """Wilson's interval by his own formula."""
    share, wider = events / n, 1 + z**2 / n
    middle, half = (share + z**2 / (2 * n)) / wider, z * sqrt(share * (1 - share) / n + z**2 / (4 * n**2)) / wider
    return middle - half, middle + half


def test_half_an_interval_and_the_p_value_at_its_end_are_those_of_the_printed_table() -> None:
    """Student's t with ten degrees of freedom, and the normal curve that is its limit; from either side of zero."""
    assert (half_width(0.95, 10.0), half_width(0.99, np.inf), half_width(0.9, np.inf)) == pytest.approx(
        (T_10, Z_99, Z_90), abs=1e-6
    )
    assert (two_sided(T_10, 10.0), two_sided(-T_10, 10.0), two_sided(-Z_99, np.inf)) == pytest.approx(
        (0.05, 0.05, 0.01), abs=1e-6
    )
    assert (two_sided(0.0, 3.0), two_sided(np.inf, 3.0)) == (1.0, 0.0)


def test_a_sum_of_terms_has_the_errors_of_both_and_of_what_they_share_on_the_fewer_degrees_of_freedom() -> None:
    """Variances 0.04, 0.09 and twice the covariance of 0.01; the term between, far off and on 3 degrees, is no part of it."""
    covariance = np.array([[0.04, 7.0, 0.01], [7.0, 50.0, 7.0], [0.01, 7.0, 0.09]])
    told = sum_of_terms([0, 2], np.array([1.0, 100.0, 4.0]), covariance, np.array([10.0, 3.0, 20.0]), 0.95)
    assert (told.estimate, told.standard_error, told.df) == pytest.approx((5.0, sqrt(0.15), 10.0))
    assert (told.low, told.high) == pytest.approx((5 - T_10 * sqrt(0.15), 5 + T_10 * sqrt(0.15)), abs=1e-5)
    edge = sum_of_terms([0, 2], np.array([1.0, 0.0, T_10 * sqrt(0.15) - 1]), covariance, np.array([10.0, 3.0, 20.0]), 0.95)
    assert edge.p_value == pytest.approx(0.05, abs=1e-6)


@pytest.mark.parametrize(
    ("counts", "p_value"),
    [
        # z² = 0.2² / (0.4 · 0.6 · 2/100) = 8.333
        ((30, 100, 50, 100), 0.003892),
        # One event of twenty: z = 0.1 / √(0.05 · 0.95 · 2/10) = 1.026
        ((1, 10, 0, 10), 0.304902),
        # As many events as there are more people here than there: z = 0.5 / √(1/3 · 2/3 · (1/10 + 1/5)) = 1.936
        ((5, 10, 0, 5), 0.052808),
        ((0, 10, 0, 5), 1.0),
        ((10, 10, 5, 5), 1.0),
    ],
)
def test_two_shares_differ_by_the_score_test(counts: tuple[int, int, int, int], p_value: float) -> None:
    assert share_difference_p(*counts) == pytest.approx(p_value, abs=1e-5)


def test_a_share_at_another_level_has_that_levels_ends_and_none_leaves_zero_to_one() -> None:
    told = wilson_interval([2, 0, 7], [4, 6, 7], 0.99)
    low, high = zip(*(by_hand(*counts, Z_99) for counts in ((2, 4), (0, 6), (7, 7))), strict=True)
    assert told.low == pytest.approx(low, abs=1e-5)
    assert told.high == pytest.approx(high, abs=1e-5)
    assert told.low.min() >= 0 and told.high.max() <= 1


def test_a_difference_at_another_level_takes_the_near_end_of_one_share_and_the_far_end_of_the_other() -> None:
    (low, high), (other_low, other_high) = by_hand(9, 12, Z_90), by_hand(5, 20, Z_90)
    told = share_difference(9, 12, 5, 20, 0.90)
    assert told.estimate == pytest.approx([0.5])
    assert told.low == pytest.approx([0.5 - sqrt((0.75 - low) ** 2 + (other_high - 0.25) ** 2)], abs=1e-5)
    assert told.high == pytest.approx([0.5 + sqrt((high - 0.75) ** 2 + (0.25 - other_low) ** 2)], abs=1e-5)

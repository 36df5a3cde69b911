"""Spreads of several sources: alike ones stay together, one that stands apart stays where it is."""

import numpy as np
import pytest
from scipy import stats
from scipy.special import digamma, polygamma

from shared.errors import TooFewError
from shared.statistics.spreads import Spreads, shrunken_spreads


def of(sd: list[float], df: list[float], most: float = 1.0) -> Spreads:
    return shrunken_spreads(np.array(sd), np.array(df), 0.95, most)


def test_alike_spreads_are_one_and_the_bias_of_a_log_variance_is_taken_off() -> None:
    found = of([0.6, 0.6, 0.6], [20.0, 20.0, 20.0])
    expected = 0.6 * np.exp(-(digamma(10.0) - np.log(10.0)) / 2)
    assert found.usual == pytest.approx(expected)
    assert found.sd == pytest.approx([expected] * 3)
    assert found.ratio == pytest.approx([1.0] * 3)
    assert found.p_value == pytest.approx(1.0)
    assert found.q_value == pytest.approx([1.0] * 3)


def test_a_ratio_has_the_interval_of_two_normal_logs() -> None:
    # Two sources of 40 degrees of freedom, one with twice the spread: log ratio of variances log 4, each with trigamma(20).
    found = of([1.2, 0.6], [40.0, 40.0])
    error = float(np.sqrt(2 * polygamma(1, 20.0)))
    assert found.ratio == pytest.approx([2.0, 0.5])
    assert np.log(found.ratio_low[0]) * 2 == pytest.approx(np.log(4) - 1.959964 * error)
    assert np.log(found.ratio_high[0]) * 2 == pytest.approx(np.log(4) + 1.959964 * error)
    assert found.q_value[0] == pytest.approx(2 * stats.norm.sf(np.log(4) / error))


def test_one_that_stands_apart_is_drawn_in_by_its_own_error_at_most() -> None:
    found = of([0.6] * 5 + [1.8], [20.0] * 6)
    own = 1.8 * np.exp(-(digamma(10.0) - np.log(10.0)) / 2)
    furthest = own * np.exp(-float(np.sqrt(polygamma(1, 10.0))) / 2)
    assert furthest - 1e-12 <= found.sd[5] <= own
    hardly = of([0.6] * 5 + [1.8], [20.0] * 6, most=0.01)
    assert hardly.sd[5] == pytest.approx(own, rel=0.01)
    assert found.q_value[5] < 0.001
    assert found.ratio_low[5] > 1
    assert found.p_value < 0.001


def test_few_values_are_drawn_in_further_than_many() -> None:
    found = of([0.9, 0.9, 0.6, 0.6, 0.45], [12.0, 400.0, 100.0, 100.0, 100.0])
    assert found.usual < found.sd[0] < found.sd[1] < 0.9


def test_alike_sources_are_told_apart_as_seldom_as_it_says() -> None:
    told = [
        of([float(np.sqrt(rng.chisquare(30) / 30)) for _ in range(6)], [30.0] * 6)
        for rng in map(np.random.default_rng, range(400))
    ]
    assert sum(found.p_value < 0.05 for found in told) <= stats.binom.ppf(0.999, 400, 0.05)
    assert sum((found.q_value < 0.01).any() for found in told) <= stats.binom.ppf(0.999, 400, 0.01)


def test_one_source_alone_cannot_be_compared() -> None:
    with pytest.raises(TooFewError):
        of([0.6], [20.0])

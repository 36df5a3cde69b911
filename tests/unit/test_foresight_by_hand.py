"""What is foreseen, and how far bands reach, by hand and against general libraries."""

import numpy as np
import pytest
from crepes import ConformalRegressor
from scipy import stats

from shared.errors import TooFewError
from shared.statistics.foresight.adapting import LEAST, MOST, STEP, led, level_today
from shared.statistics.foresight.bands import Reaches, Spread, Witnesses, band, outness, reaches_of
from shared.statistics.foresight.expected import Before, Unsure, Variances, expected


def before(n_own: float, own: float, n_other: float, other: float) -> Before:
    return Before(*(np.array([value]) for value in (n_own, own, n_other, other)))


def test_a_knee_seen_once_alone_is_expected_nearer_to_its_fixed_part() -> None:
    """Three parts of four are the knee's own: of four degrees above, three are expected again."""
    found = expected(np.array([1.0]), before(1, 4.0, 0, 99.0), Variances(both=1.0, knee=2.0, noise=1.0))
    assert found.mean == pytest.approx([1.0 + 3.0])
    assert found.knee_sd**2 == pytest.approx([3.0 - 9.0 / 4.0])
    assert found.capture_sd**2 == pytest.approx([3.0 - 9.0 / 4.0 + 1.0])


def test_two_captures_halve_the_noise_and_an_uncertain_effect_widens() -> None:
    found = expected(np.array([0.0]), before(2, 7.0, 0, 0.0), Variances(1.0, 2.0, 1.0), Unsure(change=np.array([0.25])))
    assert found.mean == pytest.approx([7.0 * 3.0 / 3.5])
    assert found.knee_sd**2 == pytest.approx([3.0 - 9.0 / 3.5 + 0.25])


@pytest.mark.parametrize(("n_own", "n_other"), [(1, 1), (2, 1), (1, 3), (0, 2)])
def test_both_knees_are_weighed_as_the_normal_distribution_weighs_them(n_own: int, n_other: int) -> None:
    """Against the conditional mean and variance of a multivariate normal distribution written out capture by capture."""
    both, knee, noise = 1.3, 0.7, 0.9
    side = np.array([0] * n_own + [1] * n_other + [0])
    covariance = both + knee * (side[:, None] == side) + noise * np.eye(len(side))
    seen = np.array([2.0] * n_own + [-1.0] * n_other)
    weights = np.linalg.solve(covariance[:-1, :-1], covariance[:-1, -1])
    found = expected(np.array([0.5]), before(n_own, 2.0, n_other, -1.0), Variances(both, knee, noise))
    assert found.mean == pytest.approx([0.5 + weights @ seen])
    assert found.capture_sd**2 == pytest.approx([covariance[-1, -1] - weights @ covariance[:-1, -1]])


def test_nothing_seen_leaves_the_fixed_part_and_all_of_the_spread() -> None:
    found = expected(np.array([0.5]), before(0, np.nan, 0, np.nan), Variances(1.0, 2.0, 1.0))
    assert found.mean == pytest.approx([0.5])
    assert found.capture_sd**2 == pytest.approx([4.0])


def test_noise_that_both_knees_share_makes_the_other_knee_tell_of_the_noise() -> None:
    apart = expected(np.zeros(1), before(1, 1.0, 1, 1.0), Variances(0.0, 1.0, 1.0))
    shared = expected(np.zeros(1), before(1, 1.0, 1, 1.0), Variances(0.0, 1.0, 1.0, shared=0.5))
    # By the inverse of [[2, 0.5], [0.5, 2]]: (1 * 2 - 0) / 3.75 of its own, less 0.5 / 3.75 of the other.
    assert apart.mean == pytest.approx([0.5]) and shared.mean == pytest.approx([1.5 / 3.75])


def test_the_distance_from_zero_is_the_folded_normal_of_scipy() -> None:
    mean, sd = np.array([-1.5, 0.2, 3.0]), np.array([0.8, 1.0, 0.5])
    spread, theirs = Spread(mean, sd, is_distance=True), stats.foldnorm(np.abs(mean) / sd, scale=sd)
    assert spread.expected() == pytest.approx(theirs.mean())
    assert spread.below(np.array([1.0, 0.5, 2.9])) == pytest.approx(theirs.cdf([1.0, 0.5, 2.9]))
    assert spread.below(np.array([-1.0, 0.0, -0.1])) == pytest.approx([0, 0, 0])
    for share in (0.1, 0.5, 0.9):
        assert spread.quantile(share) == pytest.approx(theirs.ppf(share), abs=1e-6)


def test_a_band_reaches_as_far_as_riders_fell_out() -> None:
    """Nine riders, one capture each: with the rider to come, 80 % of ten are eight, so the eighth decides."""
    out = np.array([0.9, 0.1, 0.8, 0.2, 0.7, 0.3, 0.6, 0.4, 0.5])
    assert reaches_of(Witnesses(out, np.arange(9)), 0.8).at(0.8) == pytest.approx(0.8)
    with pytest.raises(TooFewError, match=r"Not enough yet: 3 riders seen before; a band needs 4\."):
        reaches_of(Witnesses(out[:3], np.arange(3)), 0.8).at(0.8)
    assert reaches_of(Witnesses(out[:4], np.arange(4)), 0.8).at(0.8) == pytest.approx(0.9)


def test_a_rider_with_many_captures_is_one_witness() -> None:
    """Four riders with one capture each and one with a hundred: those weigh a hundredth each."""
    out = np.concatenate([[0.1, 0.2, 0.3, 0.4], np.full(100, 0.9)])
    rider = np.concatenate([np.arange(4), np.full(100, 4)])
    # Of six riders, two thirds are four: the four with one capture each.
    assert reaches_of(Witnesses(out, rider), 2 / 3).at(2 / 3) == pytest.approx(0.4)
    assert reaches_of(Witnesses(out, rider), 0.8).at(0.8) == pytest.approx(0.9)


def test_a_part_of_the_exam_that_is_not_known_widens_and_lets_the_captures_tell_more() -> None:
    """The exam's part that is not known varies by a half: of four degrees above, 3.5 of 4.5 are expected again."""
    unsure = Unsure(own=np.array([0.5]), other=np.array([0.0]))
    found = expected(np.zeros(1), before(1, 4.0, 0, 0.0), Variances(both=1.0, knee=2.0, noise=1.0), unsure)
    assert found.mean == pytest.approx([4.0 * 3.5 / 4.5])
    assert found.knee_sd**2 == pytest.approx([3.5 - 3.5**2 / 4.5])
    # By the other knee alone: 1 of 3 + 0.5 + 1.
    of_other = expected(np.zeros(1), before(0, 0.0, 1, 4.5), Variances(1.0, 2.0, 1.0), Unsure(own=0.0, other=0.5))
    assert of_other.mean == pytest.approx([1.0])


TENTHS = Reaches(np.arange(1, 101) / 100, np.arange(1, 101) / 101)


def test_the_level_moves_by_what_each_fit_was_off() -> None:
    """A fit with half of its captures outside asks for more, one with all inside for less; its captures count as one."""
    reached, asked = led(TENTHS, np.array([0.5, 0.99, 0.1, 0.1, 0.1]), np.array([3, 3, 7, 7, 7]), 0.8)
    assert reached[:2] == pytest.approx([0.81, 0.81])
    after_first = 0.8 + STEP * (0.5 - 0.2)
    assert reached[2:] == pytest.approx([0.83] * 3) and asked == pytest.approx(after_first - STEP * 0.2)
    assert led(TENTHS, np.zeros(0), np.zeros(0, dtype=int), 0.8, begun=0.7)[1] == 0.7


def test_whatever_came_the_share_outside_comes_back_and_the_level_stays_within_bounds() -> None:
    """Gibbs & Candès 2021, proposition 4.1: over T fits the share outside is off by less than (0.8 + STEP) / (T STEP)."""
    rng = np.random.default_rng(3)
    worse = np.concatenate([rng.random(400), rng.random(400) ** 0.5])
    reached, _ = led(TENTHS, worse, np.arange(800), 0.8)
    assert abs(np.mean(worse > reached) - 0.2) < (0.8 + STEP) / (800 * STEP)
    assert np.mean(worse[400:] > 0.8) > 0.33 and abs(np.mean(worse[440:] > reached[440:]) - 0.2) < 0.05
    assert led(TENTHS, np.ones(500), np.arange(500), 0.8)[1] == pytest.approx(MOST)
    assert led(TENTHS, np.zeros(500), np.arange(500), 0.8)[1] == pytest.approx(LEAST)


def test_todays_level_is_that_of_the_last_fits_however_long_the_past() -> None:
    out = np.random.default_rng(4).random(3000)
    whole = led(TENTHS, out, np.repeat(np.arange(1500), 2), 0.8)[1]
    assert level_today(TENTHS, out, np.repeat(np.arange(1500), 2), 0.8) == pytest.approx(whole, abs=1e-5)


def test_it_is_the_split_conformal_quantile_where_each_rider_has_one_capture() -> None:
    """Vovk, Gammerman & Shafer 2005; numpy's quantile of what was seen, at the level raised for the one to come."""
    out = np.random.default_rng(11).random(237)
    raised = np.ceil(0.8 * 238) / 237
    assert reaches_of(Witnesses(out, np.arange(237)), 0.8).at(0.8) == pytest.approx(
        np.quantile(out, raised, method="inverted_cdf")
    )


@pytest.mark.parametrize("n_types", [1, 3])
def test_bands_are_those_of_an_independent_library(n_types: int) -> None:
    """crepes: normalised residuals, and Mondrian categories (Boström & Johansson 2020, PMLR 128:24) where bands go by type."""
    rng = np.random.default_rng(8)
    n, new = 237, 40
    mean, sd, of_type = rng.normal(0, 2, n), rng.uniform(0.5, 2, n), rng.integers(0, n_types, n)
    measured = mean + sd * rng.standard_t(4, n) * (1 + of_type)
    next_mean, next_sd, next_type = rng.normal(0, 2, new), rng.uniform(0.5, 2, new), rng.integers(0, n_types, new)
    theirs = ConformalRegressor().fit(measured - mean, sigmas=sd, bins=of_type)
    ends = theirs.predict_int(next_mean, sigmas=next_sd, bins=next_type, confidence=0.8)
    witnesses = Witnesses(outness(Spread(mean, sd), measured), np.arange(n))
    reach = np.array([reaches_of(witnesses.of(of_type == one), 0.8).at(0.8) for one in range(n_types)])
    low, high = band(Spread(next_mean, next_sd), reach[next_type])
    assert low == pytest.approx(ends[:, 0]) and high == pytest.approx(ends[:, 1])


def test_a_band_holds_what_lies_no_further_out() -> None:
    spread = Spread(np.array([1.0, -2.0]), np.array([0.5, 2.0]))
    low, high = band(spread, np.array([0.8, 0.5]))
    assert low == pytest.approx([1.0 - 0.5 * 1.2815516, -2.0 - 2.0 * 0.6744898])
    assert high == pytest.approx([1.0 + 0.5 * 1.2815516, -2.0 + 2.0 * 0.6744898])
    assert outness(spread, low) == pytest.approx([0.8, 0.5]) and outness(spread, high) == pytest.approx([0.8, 0.5])
    assert np.isfinite(band(spread, 1.0)).all()

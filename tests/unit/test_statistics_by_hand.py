"""Small statistics against sums made by hand, or against a general library that computes the same another way."""

import numpy as np
import pytest
import statsmodels.api as sm
from scipy import integrate, stats

from shared.statistics.agreement import typical_error
from shared.statistics.bracket import bracket
from shared.statistics.case_mix import expected_mean
from shared.statistics.clustered.means import clustered_mean, clustered_share, small_codes
from shared.statistics.funnel import binomial_limit, dispersion, shrunken, winsorised
from shared.statistics.group_difference import adjusted_difference
from shared.statistics.intervals import TermEstimate, t_intervals
from shared.statistics.paired_shares import paired_change, paired_shares
from shared.statistics.pooling import combine_types
from shared.statistics.regression_to_mean import expected_distance_change
from shared.statistics.time_to_event import OPEN, cumulative_incidence, log_rank, number_at_risk
from shared.statistics.wald import wald_p_value


def test_the_expected_distance_is_the_mean_of_a_repeat_drawn_from_the_normal_model() -> None:
    """By numerical integration of |x| over the normal density, in place of the closed form."""
    first = np.array([-3.0, -1.0, 0.5, 2.0, 4.0])
    mean, variance = first.mean(), first.var(ddof=1)
    reliability = 1 - 0.8**2 / variance
    spread = np.sqrt(variance * (1 - reliability**2))
    for value, change in zip(first, expected_distance_change(first, 0.8), strict=True):
        centre = mean + reliability * (value - mean)
        far, *_ = integrate.quad(lambda x, at=centre: abs(x) * stats.norm.pdf(x, at, spread), -20, 20, points=[0], limit=200)
        assert change == pytest.approx(far - abs(value), abs=1e-6)


def test_without_noise_a_repeat_is_the_value_itself() -> None:
    assert expected_distance_change(np.array([-3.0, 1.0, 2.5]), 0.0) == pytest.approx([0.0, 0.0, 0.0])


def test_knees_that_are_all_alike_stay_where_they_are() -> None:
    assert expected_distance_change(np.full(4, -2.0), 0.5) == pytest.approx(np.zeros(4))


def test_noise_above_the_spread_leaves_the_mean_alone_with_the_spread_of_all() -> None:
    """Reliability 0: every repeat is drawn about the mean 0 with the variance of the values, 1; E|x| = sqrt(2/pi)."""
    first = np.array([-1.0, 0.0, 1.0])
    assert expected_distance_change(first, 5.0) == pytest.approx(np.sqrt(2 / np.pi) - np.abs(first))


def test_the_joint_test_is_statsmodels_f_test() -> None:
    rng = np.random.default_rng(7)
    design = sm.add_constant(rng.normal(size=(30, 2)))
    fit = sm.OLS(design @ [1.0, 0.4, -0.2] + rng.normal(size=30), design).fit()
    told = wald_p_value(fit.params[1:], fit.cov_params()[1:, 1:], fit.df_resid)
    assert told == pytest.approx(float(fit.f_test(np.eye(3)[1:]).pvalue))
    alone = wald_p_value(fit.params[1:2], fit.cov_params()[1:2, 1:2], fit.df_resid)
    assert alone == pytest.approx(float(fit.pvalues[1]))


def test_less_than_one_degree_of_freedom_counts_as_one() -> None:
    assert wald_p_value(np.array([2.0]), np.eye(1), 0.2) == pytest.approx(2 * stats.t.sf(2.0, 1))
    assert wald_p_value(np.array([2.0]), np.eye(1), 1.5) == pytest.approx(2 * stats.t.sf(2.0, 1.5))


def test_a_covariance_that_rounding_made_negative_claims_nothing() -> None:
    assert wald_p_value(np.array([0.5]), np.array([[-1e-9]]), 5.0) == 1.0


def test_t_intervals_by_hand() -> None:
    told = t_intervals(("a", "b"), np.array([1.0, -0.5]), np.diag([0.25, 0.04]), np.array([10.0, 3.0]), 0.9)
    assert list(told) == ["a", "b"]
    half = stats.t.ppf(0.95, 10) * 0.5
    assert told["a"] == TermEstimate(
        1.0, pytest.approx(1 - half), pytest.approx(1 + half), 0.5, 10.0, pytest.approx(2 * stats.t.sf(2.0, 10))
    )
    assert told["b"].p_value == pytest.approx(2 * stats.t.sf(2.5, 3))


def test_a_term_of_one_rider_is_boundless_and_one_without_noise_is_certain() -> None:
    told = t_intervals(
        ("few", "sure", "zero"), np.array([1.0, 2.0, 0.0]), np.diag([0.25, 0.0, 0.0]), np.array([0, 0.5, 5]), 0.95
    )
    assert (told["few"].low, told["few"].high, told["few"].standard_error, told["few"].p_value) == (
        -np.inf,
        np.inf,
        np.inf,
        1.0,
    )
    assert (told["sure"].low, told["sure"].high, told["sure"].p_value, told["sure"].df) == (2.0, 2.0, 0.0, 0.5)
    assert (told["zero"].low, told["zero"].p_value) == (0.0, 1.0)


def test_a_mean_by_rider_by_hand() -> None:
    """Riders' sums of residuals from the mean 3 are -4, 0 and 4: variance (16 + 0 + 16) / 36 * 3 / 2."""
    told = clustered_mean(np.array([1.0, 1, 3, 3, 4, 6]), np.array([0, 0, 1, 1, 2, 2]), 0.95)
    half = stats.t.ppf(0.975, 2) * (4 / 3) ** 0.5
    assert (told.estimate, told.n, told.n_clusters) == (3.0, 6, 3)
    assert (told.low, told.high) == pytest.approx((3 - half, 3 + half))
    assert told.n_effective == pytest.approx((18 / 5) / (4 / 3))


def test_a_mean_without_spread_counts_every_row() -> None:
    told = clustered_mean(np.array([2.0, 2, 2]), np.array([0, 1, 1]), 0.95)
    assert (told.low, told.high, told.n_effective) == (2.0, 2.0, 3.0)


def test_a_share_by_rider_by_hand() -> None:
    """Two riders of two rows, one all yes and one all no: a rider is one row, and all is Wilson's on one row."""
    told = clustered_share(np.array([1.0, 1, 0, 0]), np.array([0, 0, 1, 1]), 0.95)
    # Sums of residuals 1 and -1, variance 2 / 16 * 2; binomial 1 / 16: 4 rows count as 1.
    assert told.n_effective == pytest.approx(1.0)
    z = stats.norm.ppf(0.975)
    half = z / (1 + z * z) * (0.25 + z * z / 4) ** 0.5
    assert (told.low, told.high) == pytest.approx((0.5 - half, 0.5 + half))


def test_a_share_of_all_counts_riders_and_one_row_each_counts_rows() -> None:
    assert clustered_share(np.ones(4), np.array([0, 0, 1, 1]), 0.95).n_effective == 2.0
    assert clustered_share(np.array([1.0, 1, 0, 1]), np.arange(4), 0.95).n_effective == 4.0
    # Within riders alternating: riders are alike, and no row counts more than once.
    assert clustered_share(np.array([1.0, 0, 1, 0, 1, 1]), np.array([0, 0, 1, 1, 2, 2]), 0.95).n_effective == 6.0


@pytest.mark.parametrize(("codes", "same"), [([0, 5, 1], True), ([-1, 0, 2], False), ([0, 1007], True), ([0, 1008], False)])
def test_codes_are_counted_through_where_they_are_small(codes: list[int], same: bool) -> None:
    given = np.array(codes)
    told = small_codes(given)
    assert (told is given) == same
    assert len(np.unique(told)) == len(codes)
    assert np.array_equal(np.argsort(told), np.argsort(given))


def test_no_codes_are_no_codes() -> None:
    assert len(small_codes(np.array([], dtype=int))) == 0


def test_pairs_of_riders_by_hand() -> None:
    """Differences 1, -1 of one rider, 2, 0 of another, -1, -1 of a third; mean 0, SD^2 = 8 / 5."""
    told = typical_error(np.array([1.0, -1, 2, 0, -1, -1]), 0.95, np.array([7, 7, 8, 8, 9, 9]))
    variance = 8 / 5
    # Sums by rider 0, 2, -2; sums of squares less SD^2: 2 - 3.2, 4 - 3.2, 2 - 3.2.
    mean_error = (8 * 1.5) ** 0.5 / 6
    df = min(5.0, 2 * variance**2 / ((1.2**2 + 0.8**2 + 1.2**2) * 1.5 / 25))
    assert told.typical_error == pytest.approx((variance / 2) ** 0.5)
    half = stats.t.ppf(0.975, 2) * mean_error
    assert (told.mean_difference_low, told.mean_difference_high) == pytest.approx((-half, half))
    assert told.typical_error_low == pytest.approx((variance / 2 * df / stats.chi2.ppf(0.975, df)) ** 0.5)
    assert told.typical_error_high == pytest.approx((variance / 2 * df / stats.chi2.ppf(0.025, df)) ** 0.5)


def test_one_rider_with_most_of_the_scatter_widens_the_error() -> None:
    differences = np.array([4.0, -4, 0.1, -0.1, 0.2, -0.2, 0.1, -0.1])
    rider = np.repeat([0, 1, 2, 3], 2)
    sd2 = differences.var(ddof=1)
    squares = np.bincount(rider, weights=differences**2 - sd2)
    df = 2 * sd2**2 / (squares @ squares * (4 / 3) / 49)
    assert 1 <= df < 7
    told = typical_error(differences, 0.95, rider)
    assert told.typical_error_high == pytest.approx((sd2 / 2 * df / stats.chi2.ppf(0.025, df)) ** 0.5)


def test_pairs_without_scatter_have_no_error_and_alike_riders_count_their_pairs() -> None:
    assert typical_error(np.full(4, 1.0), 0.95, np.arange(4)).typical_error_high == 0.0
    alike = typical_error(np.array([1.0, -1, 1, -1, 1, -1]), 0.95, np.array([0, 0, 1, 1, 2, 2]))
    # SD^2 = 6 / 5: squares less SD^2 sum to -0.4 a rider; df is bounded by n - 1 = 5.
    assert alike.typical_error_low == pytest.approx((0.6 * 5 / stats.chi2.ppf(0.975, 5)) ** 0.5)
    assert (alike.mean_difference_low, alike.mean_difference_high) == (0.0, 0.0)


def test_types_that_differ_are_combined_by_hand() -> None:
    """Two types of variance 1 that lie 4 apart: Paule & Mandel's variance between is 4^2 / 2 - 1 = 7."""
    told = combine_types(np.array([0.0, 4.0]), np.array([1.0, 1.0]), 0.95)
    assert told.between_sd == pytest.approx(7**0.5)
    assert told.overall == pytest.approx(2.0)
    z = stats.norm.ppf(0.975)
    assert (told.overall_low, told.overall_high) == pytest.approx((2 - z * 2, 2 + z * 2))
    weight = 7 / 8
    assert told.weight == pytest.approx([weight, weight])
    assert told.shrunk == pytest.approx([2 - 2 * weight, 2 + 2 * weight])
    error = (weight + (1 / 8) ** 2 * 4) ** 0.5
    assert told.shrunk_low == pytest.approx(told.shrunk - z * error)
    assert told.shrunk_high == pytest.approx(told.shrunk + z * error)
    assert told.q_p_value == pytest.approx(stats.chi2.sf(8.0, 1))
    assert (told.prediction_low, told.prediction_high) == (-np.inf, np.inf)


def test_three_types_predict_a_fourth_on_one_degree_of_freedom() -> None:
    told = combine_types(np.array([0.0, 4.0, 8.0]), np.ones(3), 0.95)
    reach = stats.t.ppf(0.975, 1) * (15 + 16 / 3) ** 0.5
    assert told.between_sd == pytest.approx(15**0.5)
    assert (told.prediction_low, told.prediction_high) == pytest.approx((4 - reach, 4 + reach))
    assert told.q_p_value == pytest.approx(stats.chi2.sf(32.0, 2))


def test_a_difference_of_two_groups_is_that_of_least_squares_by_rider() -> None:
    """One row a rider: CR2 is White's HC2, which statsmodels has."""
    rng = np.random.default_rng(3)
    start, group = rng.normal(size=(24, 1)), np.arange(24) % 3 == 0
    outcome = 0.5 * start[:, 0] + 1.2 * group + rng.normal(size=24)
    design = np.column_stack([np.ones(24), group, start])
    fit = sm.OLS(outcome, design).fit(cov_type="HC2")
    told = adjusted_difference(outcome, group, start, np.arange(24), 0.95)
    assert told.estimate == pytest.approx(fit.params[1])
    assert told.standard_error == pytest.approx(fit.bse[1])
    assert told.high - told.estimate == pytest.approx(stats.t.ppf(0.975, told.df) * fit.bse[1])


def test_the_expected_mean_is_that_of_least_squares() -> None:
    rng = np.random.default_rng(4)
    design = sm.add_constant(rng.normal(size=(50, 3)))
    values = design @ [2.0, 1.0, -1.0, 0.5] + rng.normal(size=50)
    told, fit = expected_mean(values, design, ("intercept", "a", "b", "c")), sm.OLS(values, design).fit()
    assert told.expected == pytest.approx(fit.fittedvalues)
    assert told.variance == pytest.approx(np.full(50, fit.scale))
    assert told.explained == pytest.approx(fit.rsquared)


def test_a_column_that_says_the_same_is_left_out() -> None:
    rng = np.random.default_rng(4)
    column = rng.normal(size=40)
    design = np.column_stack([np.ones(40), column, 3 * column - 1, np.zeros(40)])
    values = column + rng.normal(size=40)
    told = expected_mean(values, design, ("intercept", "a", "same", "nothing"))
    assert told.expected == pytest.approx(sm.OLS(values, design[:, :2]).fit().fittedvalues)


def test_an_outcome_without_scatter_explains_nothing() -> None:
    design = np.column_stack([np.ones(20), np.arange(20.0)])
    assert expected_mean(np.full(20, 3.0), design, ("intercept", "a")).explained == 0.0


def _term(estimate: float, error: float, df: float) -> TermEstimate:
    return t_intervals(("x",), np.array([estimate]), np.array([[error**2]]), np.array([df]), 0.95)["x"]


def test_a_bracket_by_hand() -> None:
    pooled, within = _term(1.0, 0.3, 20.0), _term(2.0, 0.4, 8.0)
    told = bracket(pooled, within, 0.95)
    assert (told.low, told.high) == (pooled.low, within.high)
    assert told.difference == -1.0
    assert told.difference_se == pytest.approx(0.5)
    assert told.p_value == pytest.approx(2 * stats.t.sf(2.0, 8))
    assert not told.disagree
    closer = bracket(pooled, within, 0.95, 0.4)
    assert closer.p_value == pytest.approx(2 * stats.t.sf(2.5, 8))
    assert closer.disagree
    assert bracket(pooled, within, 0.99, 0.4).disagree is False


def test_estimates_that_cannot_differ_do_not_disagree() -> None:
    sure, same = _term(1.0, 0.0, 5.0), _term(1.0, 0.0, 5.0)
    assert bracket(sure, same, 0.95).p_value == 1.0
    assert bracket(sure, _term(2.0, 0.0, 5.0), 0.95).p_value == 0.0
    assert bracket(sure, _term(2.0, 1.0, 0.0), 0.95).p_value == 1.0
    assert bracket(sure, _term(2.0, 0.5, 0.5), 0.95).p_value == pytest.approx(2 * stats.t.sf(2.0, 0.5))


def test_a_funnel_limit_by_hand() -> None:
    """Of 4 fits at a half: 1/16, 5/16, 11/16, ...; the tail 0.2 lies in the step to 1, (5/16 - 0.2) / (1/4) below it."""
    told = binomial_limit(0.5, np.array([4]), np.array([0.2]))
    assert told == pytest.approx([(1 - (5 / 16 - 0.2) / 0.25) / 4])
    assert binomial_limit(0.5, np.array([1, 4]), np.array([0.001, 0.9999])) == pytest.approx(
        [0.0, (4 - (1 - 0.9999) / (1 / 16)) / 4], abs=1e-12
    )
    # A share of nothing or of all has no step to lie in.
    assert binomial_limit(0.0, np.array([5]), np.array([0.975])) == pytest.approx([0.0])
    assert binomial_limit(1.0, np.array([5]), np.array([0.975]))[0] <= 1.0


def test_scatter_of_fitters_by_hand() -> None:
    """z of -2, 0, 2 and equal errors of 0.5: phi 8/3, tau^2 = (8 - 2) / (3 * 4 - 4)."""
    told = dispersion(np.array([-2.0, 0, 2]), np.full(3, 0.5), 0.0, "counted")
    assert (told.n, told.phi) == (3, pytest.approx(8 / 3))
    assert told.tau_squared == pytest.approx(6 / 8)
    assert told.p_value == pytest.approx(stats.chi2.sf(8.0, 3))
    assert dispersion(np.array([-0.5, 0, 0.5]), np.full(3, 0.5), 0.0, "counted").tau_squared == 0.0


def test_pulled_in_z_scores_by_hand() -> None:
    z = np.array([9.0, 1, 2, 3, 4, 5, 6, 7, 8, -9])
    assert winsorised(z, 0.1, "counted") == pytest.approx([8, 1, 2, 3, 4, 5, 6, 7, 8, 1])
    assert winsorised(z, 0.09, "counted") == pytest.approx(z)
    assert winsorised(z, 0.1, "interpolated").min() == pytest.approx(np.quantile(z, 0.1))
    assert winsorised(z, 0.1, "interpolated").max() == pytest.approx(np.quantile(z, 0.9))


def test_a_difference_is_shrunk_by_its_precision() -> None:
    told = shrunken(np.array([2.0, -0.5]), np.array([1.0, 0.5]), 1.0, 0.95)
    assert told.weight == pytest.approx([0.5, 0.8])
    assert told.estimate == pytest.approx([1.0, -0.4])
    half = stats.norm.ppf(0.975) * np.array([1.0, 0.5]) * np.array([0.5, 0.8]) ** 0.5
    assert told.low == pytest.approx(told.estimate - half)
    assert told.high == pytest.approx(told.estimate + half)


def test_a_change_between_two_shares_by_hand() -> None:
    before = np.array([True, True, True, False, False])
    after = np.array([False, True, False, True, False])
    told = paired_change(before, after, 0.95)
    assert (told.resolved, told.persisting, told.new, told.none, told.n) == (2, 1, 1, 1, 5)
    assert (told.share_before, told.share_after, told.difference) == pytest.approx((0.6, 0.4, -0.2))
    # Of the three that changed two resolved: twice the chance of none or one new among three, no more than 1.
    assert told.p_value == 1.0
    assert paired_shares(6, 0, 0, 0, 0.95).p_value == pytest.approx(2 / 2**6)


def test_shares_that_move_together_have_a_narrower_difference() -> None:
    apart, together = paired_shares(10, 10, 10, 10, 0.95), paired_shares(5, 15, 5, 15, 0.95)
    assert together.high - together.low < apart.high - apart.low
    opposed = paired_shares(15, 5, 15, 5, 0.95)
    assert opposed.high - opposed.low > apart.high - apart.low
    # Phi of 5, 15, 5, 15 is (225 - 25 - 20) / 400, drawn toward zero by half of 40.
    z = stats.norm.ppf(0.975)
    low = high = z / (1 + z * z / 40) * (0.25 / 40 + z * z / (4 * 40**2)) ** 0.5
    reach = (low**2 + high**2 - 2 * 0.45 * low * high) ** 0.5
    assert together.high == pytest.approx(reach)


def test_times_without_an_end_make_an_empty_curve() -> None:
    told = cumulative_incidence(np.array([3.0, 5.0]), np.array([OPEN, OPEN]), 0.95)
    assert [len(part) for part in (told.time, told.at_risk, told.incidence, told.low, told.high, told.competing)] == [0] * 6


def test_a_curve_by_hand() -> None:
    """Ends at 2 and 5 of four rows, one censored at 3: 1/4, then 1 - 3/4 * 1/2."""
    told = cumulative_incidence(np.array([2.0, 3.0, 5.0, 7.0]), np.array([1, 0, 1, 0]), 0.95)
    assert told.time == pytest.approx([2, 5])
    assert list(told.at_risk) == [4, 2]
    assert told.incidence == pytest.approx([0.25, 0.625])
    assert told.competing == pytest.approx([0, 0])
    error = 0.75 * (1 / (4 * 3)) ** 0.5  # Greenwood
    factor = np.exp(stats.norm.ppf(0.975) * error / (0.75 * abs(np.log(0.75))))
    assert (told.low[0], told.high[0]) == pytest.approx((1 - 0.75 ** (1 / factor), 1 - 0.75**factor))
    assert list(number_at_risk(np.array([2.0, 3, 3, 7]), np.array([3.0, 8]))) == [3, 0]


def test_a_log_rank_by_hand() -> None:
    """Ends 1 and 3 in one group, 2 and 4 in the other: expected 1/2 + 1/3 + 1/2 + 0 of the first."""
    told = log_rank(np.array([1.0, 3, 2, 4]), np.ones(4, dtype=bool), np.array(["a", "a", "b", "b"]))
    assert told.groups == ("a", "b")
    assert told.observed == pytest.approx([2, 2])
    assert told.expected == pytest.approx([4 / 3, 8 / 3])
    variance = 1 / 4 + 2 / 9 + 1 / 4
    assert (told.chi_square, told.df) == (pytest.approx((2 - 4 / 3) ** 2 / variance), 1)
    assert told.p_value == pytest.approx(stats.chi2.sf(told.chi_square, 1))

"""Small statistics and their edges, each against a sum written out beside it."""

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from shared.errors import NoConvergenceError, NotEstimableError, TooFewError
from shared.statistics import case_mix, change_point
from shared.statistics.agreement import typical_error
from shared.statistics.always_valid import always_valid
from shared.statistics.bracket import bracket
from shared.statistics.case_mix import expected_share
from shared.statistics.change_point import _sizes, chance_of_step, largest_step
from shared.statistics.control_charts import p_limits, xmr_limits
from shared.statistics.design import filled, of_columns
from shared.statistics.estimability import ties_of_products
from shared.statistics.goals import process_of, verdict
from shared.statistics.grouping import within_rider
from shared.statistics.intervals import TermEstimate
from shared.statistics.late import late_share
from shared.statistics.microaggregation import _blocks, groups_of
from shared.statistics.paired_shares import paired_shares
from shared.statistics.pooling import combine_types
from shared.statistics.ranks import rank_correlation
from shared.statistics.told import Told, direction, told_interval
from shared.statistics.unseen import bounds_of_mean, mean_if_alike, weights_of_seen
from tests.unit.test_statistics_told import THIRD

NAN = np.nan


def test_the_higher_end_of_a_bracket_may_be_the_pooled_one_and_without_degrees_of_freedom_nothing_is_known_apart() -> None:
    pooled, within = TermEstimate(1.2, 0.6, 1.8, 0.3, 9.0, 0.01), TermEstimate(1.0, 0.8, 1.2, 0.1, 9.0, 0.01)
    assert (bracket(pooled, within, 0.95).low, bracket(pooled, within, 0.95).high) == (0.6, 1.8)
    alone = TermEstimate(1.0, -np.inf, np.inf, np.inf, 0.0, 1.0)
    assert bracket(alone, within, 0.95, 0.1).reach == np.inf


def test_a_bracket_that_ends_within_the_third_s_interval_is_narrowed_below_alone() -> None:
    """0.5 less and more 2.575829 · 0.05 is 0.3712 to 0.6288, of which 0 to 0.55 holds the lower end."""
    told = told_interval(0.0, 0.55, True, THIRD)
    assert (told.low, told.high, told.by) == (pytest.approx(0.371209, abs=1e-6), 0.55, "sequential")
    low, high = THIRD.interval(0.99)
    for ends in ((0.4, 0.6), (low, high), (low, 0.6), (0.4, high)):
        assert told_interval(*ends, True, THIRD) == Told(*ends, "bracket", "not narrower")
    # Below one degree of freedom it is held for one, where t is 12.7062 at 97.5 %.
    assert replace(THIRD, estimate=0.0, standard_error=1.0, df=0.5).interval(0.95) == pytest.approx(
        (-12.7062, 12.7062), rel=1e-5
    )


def test_a_figure_with_one_end_alone_claims_nothing() -> None:
    assert [direction(None, -0.1, 0.0), direction(0.1, None, 0.0)] == [0, 0]


def test_a_step_of_shares_counts_the_less_of_two_scales() -> None:
    """From none of 28 to a quarter of 4: (1/4)/0.1 on the one scale; on the other 2 asin(1/2) = π/3, times the standard
    deviation of a share of 1 in 32, √31/32."""
    one = [np.array([value]) for value in (0.0, 0.25, 28.0, 4.0, 0.1)]
    assert _sizes(*one, is_share=False) == pytest.approx([2.5])
    assert _sizes(*one, is_share=True) == pytest.approx([np.pi / 3 * 31**0.5 / 32 / 0.1])
    # From three quarters of 4 to all of 28 by symmetry.
    turned = [np.array([value]) for value in (0.75, 1.0, 4.0, 28.0, 0.1)]
    assert _sizes(*turned, is_share=True) == pytest.approx(_sizes(*one, is_share=True))


def test_a_step_stands_where_neither_error_takes_it_away(monkeypatch: pytest.MonkeyPatch) -> None:
    """By the periods' scatter it is at the fourth period; by riders nothing is known of that one, and the fifth remains."""
    values, period = np.array([0.0, 1.0, 0.0, 9.0, 9.5]), np.arange(5)
    assert largest_step(values, period, period, 3, is_share=False, wanted=0.0).first == 3
    monkeypatch.setattr(change_point, "_error_by_riders", lambda *_: (np.array([1e9, 1e-9]), 1000))
    assert largest_step(values, period, period, 3, is_share=False, wanted=1.0).first == 4
    # By riders the step of 9.25 less 1/3 is half as many errors, of twelve riders, and the larger chance holds.
    monkeypatch.setattr(change_point, "_error_by_riders", lambda *_: (np.array([2.0, 1e9]), 12))
    found = largest_step(values, period, period, 3, is_share=False, wanted=1.0)
    assert found.p_value == pytest.approx(chance_of_step((9.25 - 1 / 3) / 2, np.array([3, 4]) / 5, 10))


def test_a_step_of_a_share_has_the_chance_of_the_less_of_two_scales() -> None:
    """None of 28 rows, then 1 of 2 and 0 of 2. The periods' means scatter by 1/2 - 32/32² = 15/32, of which the step takes
    (1/4)² · 28 · 4 / 32 = 7/32: 1/4 is left on three degrees of freedom."""
    period = np.repeat(np.arange(5), [8, 8, 12, 2, 2])
    values = (np.arange(32) == 28).astype(float)
    found = largest_step(values, period, np.arange(32), 3, is_share=True, wanted=0.0)
    error = (0.25 / 3 * (1 / 28 + 1 / 4)) ** 0.5
    assert (found.first, found.before, found.after) == (3, 0.0, 0.25)
    assert found.p_value == pytest.approx(chance_of_step(np.pi / 3 * 31**0.5 / 32 / error, np.array([28, 30]) / 32, 3))


def test_a_rider_on_both_sides_of_a_step_adds_to_it_once() -> None:
    """Two rows before and three after. A rider's share is what he adds before by 2 less what he adds after by 3: −2/2 − 2/3 for
    the first, who comes twice, then −1/2, 0 and 1/3."""
    residual, at = np.array([-2.0, -1.0, 0.0, 1.0, 2.0]), np.arange(5)
    given = (np.array([1]), np.array([2.0]), np.array([3.0]))
    error, n_riders = change_point._error_by_riders(residual, at, np.array([0, 1, 2, 3, 0]), *given)
    assert (error**2, n_riders) == (pytest.approx([(5 / 3) ** 2 + 1 / 4 + 1 / 9]), 4)
    alone, n_riders = change_point._error_by_riders(residual, at, at, *given)
    assert (alone**2, n_riders) == (pytest.approx([(4 + 1) / 4 + (1 + 4) / 9]), 5)


def test_limits_count_a_period_of_one_row_and_end_at_all() -> None:
    """Shares of 1 in 1, 19 in 19 and 0 in 1: 20 of 21. Beyond 1 there is nothing, however few the rows."""
    found = p_limits(np.array([1.0, 19.0, 0.0]), np.array([1.0, 19.0, 1.0]), np.ones(3, bool))
    assert (found.centre, found.n_base) == (pytest.approx(20 / 21), 3)
    assert found.high.tolist() == [1.0, 1.0, 1.0]
    for refused in (lambda: p_limits(np.zeros(2), np.array([1.0, 0.0]), np.ones(2, bool)),
                    lambda: xmr_limits(np.array([1.0, NAN]), np.ones(2, bool))):  # fmt: skip
        with pytest.raises(TooFewError, match=r"^Not enough yet: 1 period with a figure, and limits need at least 2\.$"):
            refused()


def test_a_measure_that_is_missing_takes_the_mean_of_the_others_and_a_column_of_its_own() -> None:
    rows = {"age": np.array([20.0, NAN, 40.0]), "width": np.full(3, NAN), "known": np.arange(3.0)}
    found = filled(rows, ("age", "width", "known"), curved=("age",))
    assert {name: column.tolist() for name, column in found.items()} == {
        "age": [20, 30, 40], "age missing": [0, 1, 0], "age squared": [400, 900, 1600], "width": [0, 0, 0],
        "width missing": [1, 1, 1], "known": [0, 1, 2],
    }  # fmt: skip


@pytest.mark.parametrize(("n_apart", "is_kept"), [(9, False), (10, True)])
def test_a_column_stays_in_a_design_where_ten_rows_differ_from_the_rest(n_apart: int, is_kept: bool) -> None:
    """Whether those that differ come first or last."""
    for values in ([-1.0] * n_apart + [0.0] * 30, [0.0] * 30 + [1.0] * n_apart):
        found = of_columns({"x": np.array(values)}, len(values))
        assert found.terms == (("intercept", "x") if is_kept else ("intercept",))
        assert found.design[:, 0].tolist() == [1.0] * len(values)
        assert found.design[:, 1:].T.tolist() == ([values] if is_kept else [])


def test_a_column_with_little_weight_in_a_tie_is_in_doubt_too() -> None:
    """c is a turned by a thousandth toward b: b has a weight of 7e-4 in what comes to nothing."""
    a, b = np.eye(2)
    columns = np.column_stack([a, b, np.cos(1e-3) * a + np.sin(1e-3) * b])
    asked: list[list[bool]] = []
    ties_of_products(columns.T @ columns, ("a", "b", "c"), lambda doubtful: asked.append(doubtful.tolist()) or {})
    assert asked == [[True, True, True]]


def test_codes_of_two_riders_are_never_one() -> None:
    """Knee 5 of rider 0 and knee 5 of rider 1 are two; so are knee 7 of rider 0 and knee 5 of rider 1."""
    rider, knee = np.array([0, 0, 1, 1, 1, 0]), np.array([5, 7, 5, 7, 5, 5])
    assert within_rider(rider, knee).tolist() == [0, 1, 2, 3, 2, 0]


def test_where_all_repeats_are_alike_nothing_is_late_and_one_rider_alone_tells_nothing() -> None:
    rider = np.tile(np.arange(12), 2)
    found = late_share(np.zeros(24), np.repeat([0.5, 0.0], 12), np.ones(24, dtype=np.int64), rider, 0.95)
    assert (found.share, found.p_value) == (0.0, 1.0)
    # Each rider at a place of his own, which takes his pair whole; the first has two pairs, and tells the share alone.
    place = np.array([0, *range(12)], dtype=np.int64)
    with pytest.raises(NotEstimableError, match="rest on one rider alone"):
        late_share(np.arange(13.0), np.linspace(0.3, 0.9, 13), place, place, 0.95)


def test_the_row_farthest_from_the_mean_takes_the_nearest_along() -> None:
    """Mean −8/7: −10 lies farthest, and −3 and −2 nearest to it."""
    labels = groups_of(np.array([[-10.0], [-3], [-2], [0], [1], [2], [4]]), 3)
    assert len(set(labels[:3])) == len(set(labels[3:])) == 1 and labels[0] != labels[6]
    # 11 first, then −10, the farthest from it.
    labels = groups_of(np.array([[-10.0], [8], [0], [-9], [9], [1], [-8], [11], [2]]), 3)
    assert [set(labels[place::3]) for place in (0, 1, 2)] == [{labels[0]}, {labels[1]}, {labels[2]}] and len(set(labels)) == 3


def test_many_rows_are_cut_into_blocks_along_their_longest_axis() -> None:
    place = np.random.default_rng(2).permutation(4_000)
    along = np.column_stack([np.zeros(4_000), place - 1999.5])
    blocks = sorted(sorted(place[block].tolist()) for block in _blocks(along))
    assert blocks == [list(range(2_000)), list(range(2_000, 4_000))]
    assert [len(block) for block in _blocks(along[:2_000])] == [2_000]
    assert [len(block) for block in _blocks(np.zeros((2_001, 0)))] == [2_001]


def test_bounds_reach_over_both_by_the_critical_value_of_the_source() -> None:
    """Six of nine at 0, three unseen between 0 and 1. At 1 they make a mean of 1/3 with a standard error of 1/6, so that the
    bounds lie two of them apart: 1.646146 by equation 6 of Imbens & Manski, held by t on 8 degrees of freedom."""
    found = bounds_of_mean(np.array([0.0] * 6 + [NAN] * 3), np.arange(9), (0.0, 1.0), 0.95, is_share=False)
    assert (found.low, found.high, found.interval_low) == (0.0, pytest.approx(1 / 3), 0.0)
    assert found.interval_high == pytest.approx(1 / 3 + stats.t.ppf(stats.norm.cdf(1.646146), 8) / 6, abs=1e-6)


def test_bounds_of_what_was_seen_whole_are_wilsons_and_two_riders_are_enough() -> None:
    """Wilson's interval of 8 of 8 begins at 8/(8 + 1.96²)."""
    found = bounds_of_mean(np.ones(8), np.arange(8), (0.0, 1.0), 0.95, is_share=True)
    assert (found.interval_low, found.interval_high) == (pytest.approx(8 / (8 + 1.959964**2), rel=1e-5), pytest.approx(1.0))
    two = bounds_of_mean(np.array([1.0, 3.0]), np.arange(2), (0.0, 10.0), 0.95, is_share=False)
    assert (two.low, two.high) == (2.0, 2.0)
    with pytest.raises(TooFewError, match=r"^Not enough yet: 1 rider, and an interval needs at least 2\.$"):
        bounds_of_mean(np.array([1.0, 3.0]), np.zeros(2, int), (0.0, 10.0), 0.95, is_share=False)


def test_a_seen_row_stands_for_more_where_few_like_it_were_seen() -> None:
    """Half of all, 5 of 20 in one group and 15 of 20 in the other: each stands for (1/2)/(1/4) and for (1/2)/(3/4)."""
    seen = np.array([True] * 5 + [False] * 15 + [True] * 15 + [False] * 5)
    weight = weights_of_seen(seen, np.column_stack([np.ones(40), np.repeat([0.0, 1.0], 20)]), ("intercept", "group"))
    assert weight == pytest.approx(np.where(seen, np.repeat([2.0, 2 / 3], 20), 0.0), rel=1e-4)


def test_what_a_row_is_judged_by_is_the_line_of_the_others() -> None:
    """Five at 1 and five at 3, all seen, with nothing known of them: each is off the mean of the others by 10/9 of what it is
    off that of all, and so is the interval, 2.262157 · 1.054093/√10 to either side of 2."""
    values = np.array([1.0, 3.0] * 5)
    found = mean_if_alike(values, np.ones(10), np.ones((10, 1)), np.arange(10), 0.95)
    assert (found.estimate, found.high) == (pytest.approx(2.0), pytest.approx(2 + 0.754054 * 10 / 9, rel=1e-5))


def test_types_apart_are_drawn_together_by_the_spread_between_them() -> None:
    """0 and 2 with standard errors of 1/2: both squares about 1 over 1/4 + τ² make one where τ² is 7/4, so that a type keeps
    7/8 of itself; the overall estimate has an error of 1, the drawn ones √(7/8 · 1/4 + 1/64)."""
    found = combine_types(np.array([0.0, 2.0]), np.array([0.5, 0.5]), 0.95)
    assert (found.between_sd**2, found.overall) == (pytest.approx(1.75, rel=1e-4), pytest.approx(1.0))
    assert found.shrunk == pytest.approx([0.125, 1.875], rel=1e-4)
    assert found.shrunk_high - found.shrunk == pytest.approx([1.959964 * (7 / 32 + 1 / 64) ** 0.5] * 2, rel=1e-4)
    assert found.overall_high == pytest.approx(1 + 1.959964, rel=1e-4)


def test_shares_of_which_one_is_whole_are_not_taken_to_move_together() -> None:
    """All ten yes, then five: Wilson's intervals by his formula 0.7225 to 1 and 0.2366 to 0.7634."""
    found = paired_shares(5, 5, 0, 0, 0.95)
    assert (found.low, found.high) == pytest.approx((-0.5 - 0.2634, -0.5 + (0.2634**2 + 0.2775**2) ** 0.5), abs=1e-4)


def test_two_periods_are_the_fewest_of_a_process_and_better_is_one_way_or_the_other() -> None:
    assert process_of(np.array([10.0, 12.0]), 0.0, 0).n == 2
    with pytest.raises(TooFewError, match=r"1 period since it last moved, of the 2 that this needs"):
        process_of(np.array([10.0]), 0.0, 0)
    with pytest.raises(ValueError, match=r"^better is 1 or -1$"):
        verdict(process_of(np.array([10.0, 12.0]), 0.0, 0), 11.0, 0)


def test_a_rank_correlation_by_hand() -> None:
    """Ten pairs, squares of rank differences 2 in all: 1 - 6 * 2 / (10 * 99) = 0.98788. arctanh of it, 2.5511, times the root
    of 7 / 1.06 = 2.5697, is 6.556."""
    first = np.array([1.0, 2, 3, 4, 5, 6, 7, 8, 9, 10, NAN, 5])
    second = np.array([2.0, 1, 3, 4, 5, 6, 7, 8, 9, 100, 5, NAN])
    found = rank_correlation(first, second, 10)
    assert found is not None
    assert (found.n, found.rho) == (10, pytest.approx(1 - 12 / 990))
    assert (found.p_above, found.p_below) == (pytest.approx(2.8e-11, rel=0.05), pytest.approx(1.0))
    turned = rank_correlation(first, -second, 10)
    assert turned is not None
    assert (turned.rho, turned.p_below) == (pytest.approx(12 / 990 - 1), pytest.approx(2.8e-11, rel=0.05))
    # One of ten is cut to 0.999999, arctanh 7.2543, times the root of 2 / 1.06 for five pairs: 9.965 standard deviations.
    sure = rank_correlation(np.arange(5.0), np.arange(5.0), 2)
    assert sure is not None and sure.p_above == pytest.approx(stats.norm.sf(9.9646), rel=1e-3, abs=0)


def test_a_column_that_never_differs_or_too_few_pairs_have_no_rank_correlation() -> None:
    ten = np.arange(10.0)
    assert rank_correlation(ten, ten * 0, 5) is None and rank_correlation(ten * 0, ten, 5) is None
    assert rank_correlation(ten, ten, 11) is None and rank_correlation(ten[:4], ten[:4], 2) is None


def test_the_mean_of_repeat_pairs_has_as_many_degrees_of_freedom_as_pairs_less_one() -> None:
    """1, 2, 3, 4: standard deviation √(5/3), by t on three degrees of freedom 3.182446 times half of it about 2.5."""
    found = typical_error(np.array([1.0, 2.0, 3.0, 4.0]), 0.95)
    half = 3.182446 * (5 / 3) ** 0.5 / 2
    assert (found.mean_difference_low, found.mean_difference_high) == pytest.approx((2.5 - half, 2.5 + half), abs=1e-5)
    # Chi-square on three degrees of freedom has 0.2158 and 9.3484 at 2.5 and 97.5 %.
    ends = (found.typical_error_low / found.typical_error, found.typical_error_high / found.typical_error)
    assert ends == pytest.approx(((3 / 9.3484) ** 0.5, (3 / 0.2158) ** 0.5), rel=1e-4)


def test_the_interval_that_may_be_looked_at_at_any_time_of_pairs_alone() -> None:
    """Pairs differ by d: an end t is where the square of Σ(d − t) is the source's factor times Σ(d − t)²."""
    apart = np.array([0.5, 1.5, 1.0, 2.0, 0.0, 1.0, 3.0, -1.0, 1.0, 1.0, 2.0, 0.0])
    second, block = np.tile([False, True], 12), np.repeat(np.arange(12), 2)
    outcome = np.where(second, np.repeat(apart, 2), 0.0)
    found = always_valid(outcome, second, block, 0.95, tuned_for=10)
    rho2 = (-2 * np.log(0.05) + np.log(-2 * np.log(0.05) + 1)) / 10
    w = 12 * rho2 + 1
    assert found.estimate == pytest.approx(1.0)
    for end, alpha in ((found.low, 0.05), (found.high, 0.05), (0.0, found.p_value)):
        left = apart - end
        assert left.sum() ** 2 == pytest.approx(2 * w / (12 * rho2) * np.log(w**0.5 / alpha) * (left**2).sum())
    # In whatever unit; and what differs by nothing on average has no chance above one.
    assert always_valid(outcome / 100, second, block, 0.95, tuned_for=10).p_value == pytest.approx(found.p_value)
    assert always_valid(outcome - second, second, block, 0.95, tuned_for=10).p_value == 1.0


def test_two_groups_are_expected_by_their_shares_and_explain_the_square_of_their_correlation() -> None:
    """5 of 20 and 15 of 20: phi is (5 · 5 − 15 · 15)/20². The rarer outcome may be the one that did not come."""
    group = np.repeat([0.0, 1.0], 20)
    events = np.array([1.0] * 5 + [0.0] * 15 + [1.0] * 15 + [0.0] * 5)
    found = expected_share(events, np.column_stack([np.ones(40), group]), ("intercept", "group"))
    assert found.expected == pytest.approx(np.where(group == 0, 0.25, 0.75))
    assert found.explained == pytest.approx(0.25)
    mostly = np.array([1.0] * 76 + [0.0] * 4)
    with pytest.raises(TooFewError, match=r"^Not enough yet: 4 of the rarer outcome for 1 term of the case mix, and 5 are"):
        expected_share(mostly, np.ones((80, 1)), ("intercept",))


def test_a_case_mix_that_does_not_settle_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(case_mix, "_likeliest", lambda *_: (np.zeros(1), False))
    with pytest.raises(NoConvergenceError, match="did not settle on an answer"):
        expected_share(np.repeat([0.0, 1.0], 20), np.ones((40, 1)), ("intercept",))

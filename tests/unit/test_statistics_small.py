"""Small statistics and their edges, each against a sum written out beside it."""

import numpy as np
import pytest
from scipy import stats

from shared.errors import NotEstimableError, TooFewError
from shared.statistics import change_point
from shared.statistics.bracket import bracket
from shared.statistics.change_point import _sizes, largest_step
from shared.statistics.control_charts import p_limits, xmr_limits
from shared.statistics.design import filled, of_columns
from shared.statistics.estimability import ties_of_products
from shared.statistics.grouping import within_rider
from shared.statistics.intervals import TermEstimate
from shared.statistics.late import late_share
from shared.statistics.microaggregation import _blocks, groups_of
from shared.statistics.ranks import rank_correlation
from shared.statistics.told import Told, told_interval
from shared.statistics.unseen import bounds_of_mean
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
    assert told_interval(0.4, 0.6, True, THIRD) == Told(0.4, 0.6, "bracket", "not narrower")


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
    for values in ([1.0] * n_apart + [0.0] * 30, [0.0] * 30 + [1.0] * n_apart):
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


def test_many_rows_are_cut_into_blocks_along_their_longest_axis() -> None:
    along = np.column_stack([np.zeros(4_000), np.arange(4_000.0) - 1999.5])
    assert sorted((block.min(), block.max(), len(block)) for block in _blocks(along)) == [(0, 1999, 2000), (2000, 3999, 2000)]
    assert [len(block) for block in _blocks(along[:2_000])] == [2_000]


def test_bounds_reach_over_both_by_the_critical_value_of_the_source() -> None:
    """Six of nine at 0, three unseen between 0 and 1. At 1 they make a mean of 1/3 with a standard error of 1/6, so that the
    bounds lie two of them apart: 1.646146 by equation 6 of Imbens & Manski, held by t on 8 degrees of freedom."""
    found = bounds_of_mean(np.array([0.0] * 6 + [NAN] * 3), np.arange(9), (0.0, 1.0), 0.95, is_share=False)
    assert (found.low, found.high, found.interval_low) == (0.0, pytest.approx(1 / 3), 0.0)
    assert found.interval_high == pytest.approx(1 / 3 + stats.t.ppf(stats.norm.cdf(1.646146), 8) / 6, abs=1e-6)


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
    assert sure is not None and sure.p_above == pytest.approx(stats.norm.sf(9.9646), rel=1e-3)


def test_a_column_that_never_differs_or_too_few_pairs_have_no_rank_correlation() -> None:
    ten = np.arange(10.0)
    assert rank_correlation(ten, ten * 0, 5) is None and rank_correlation(ten * 0, ten, 5) is None
    assert rank_correlation(ten, ten, 11) is None and rank_correlation(ten[:4], ten[:4], 2) is None

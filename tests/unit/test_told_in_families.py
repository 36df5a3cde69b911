"""A direction is told by the interval and by q in its family: what one interval alone would claim is not claimed among many."""

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from dashboard.questions.studio.answers_periods import PeriodChangeRow
from dashboard.questions.studio.studio import Measured, _figure
from dashboard.questions.symmetry.answers_asymmetry import ChangeRow, DifferenceRow, PrevalenceRow
from dashboard.questions.symmetry.asymmetry_rows import (
    against_others,
    change_told,
    headline_of,
    judged,
    leading_side,
    of_all_riders,
)
from shared.settings import Settings
from shared.statistics.clustered.means import design_effect
from shared.statistics.multiplicity import in_family
from shared.statistics.proportions import share_difference_p

# An interval that leaves out zero, as sure as one in thirty.
CHANGE = ChangeRow(
    "side difference in tilt", None, None, 400, 60, 90, 40, 210, 0.375, 0.325, -0.05, -0.095, -0.004, 0.033, None, ""
)
DIFFERENCE = DifferenceRow("offset", "mm", "arrival", None, None, 700, 400, 0.5, 0.02, 0.98, 4.0, 9.0, "Right less left.", 0.04)
LEVEL = PrevalenceRow(
    "tilt", "deg", 2.0, "arrival", "arch_height", "low", 120, 60, 0.5, 0.41, 0.59, 0.4, 0.1, 0.01, 0.19, "Low arch: 50 %.", 0.03
)


def test_the_family_leaves_out_what_was_not_tested_and_counts_its_like() -> None:
    assert in_family([0.01, None, 0.04]) == [0.02, None, 0.04]
    assert in_family([0.01, None, 0.04], 17) == [pytest.approx(0.34), None, pytest.approx(0.68)]
    assert in_family([0.5], 17) == [1.0]
    assert in_family([None]) == [None]


def test_a_change_among_many_is_no_clear_change_and_the_headline_says_the_same() -> None:
    others = [replace(CHANGE, finding=f"pattern {n}", p_value=0.5) for n in range(12)]
    alone, [among, *_] = (judged(rows, change_told, of_all_riders(rows)) for rows in ([CHANGE], [CHANGE, *others]))
    assert "fewer (−5" in alone[0].words
    assert "no clear change (−5" in among.words
    prevalence = replace(LEVEL, level=None, words="38 % of riders came with one.")
    assert "5\xa0points fewer" in headline_of(prevalence, alone[0])
    assert "no clear change" in headline_of(prevalence, among)


def test_a_level_of_a_split_asks_for_more_since_any_split_may_be_chosen() -> None:
    [row] = judged([LEVEL], against_others, {})
    assert row.q_value == 1.0
    assert "10\xa0points, no clear difference from the other riders (1 to 19)" in row.words
    [sure] = judged([replace(LEVEL, p_value=0.0004)], against_others, {})
    assert "10\xa0points more than the other riders (1 to 19)" in sure.words


def test_riders_chosen_by_their_arrival_are_told_no_change_that_the_choice_alone_may_bring() -> None:
    """A knee measured far from neutral comes back a little by itself: in null studios half of these rows claimed a change."""
    chosen = replace(CHANGE, split="arrival_direction", level="inward", p_value=1e-6)
    [row] = judged([chosen], change_told, {})
    assert row.q_value is None
    assert "no change told (−5" in row.words
    [level] = judged([replace(LEVEL, split="arrival_direction", level="inward", p_value=1e-6)], against_others, {})
    assert "no difference told from the other riders" in level.words


def test_a_side_that_leads_is_told_by_the_family_of_all_riders() -> None:
    rows = [DIFFERENCE, *(replace(DIFFERENCE, quantity=f"{n}", p_value=0.6) for n in range(5))]
    assert judged(rows, leading_side, of_all_riders(rows))[0].words == "Right less left: neither side clearly leads."
    assert judged(rows[:1], leading_side, of_all_riders(rows[:1]))[0].words == "Right less left: the right side leads."


def test_a_period_is_higher_only_where_both_say_so() -> None:
    row = PeriodChangeRow(
        "comfort_gained", "before", "points", 90, 90, None, None, 0.3, 0.02, 0.58, "", p_value=0.03, q_value=0.24
    )
    assert row.told == "no clear change"
    assert replace(row, q_value=0.03).told == "higher"


def test_comfort_that_did_not_clearly_move_is_not_said_to_rise() -> None:
    rng = np.random.default_rng(4)
    values, riders = rng.normal(0.0, 1.5, 300), np.arange(300)
    day = np.full(300, np.datetime64("2026-03-02"))
    still, risen, fallen = (
        _figure(Measured("comfort_gained", "points", "fit", values - values.mean() + shift, riders, day), Settings()).words
        for shift in (0.1, 0.6, -0.6)
    )
    assert still.startswith("Comfort shows no clear change: 0.1 points of 10")
    assert risen.startswith("Comfort rose by 0.6 points")
    assert fallen.startswith("Comfort fell by 0.6 points")


def test_riders_who_come_twice_are_not_two_witnesses_of_a_fitter() -> None:
    rng = np.random.default_rng(8)
    once, riders = rng.normal(size=400), np.arange(400)
    assert design_effect(once, riders) == pytest.approx(1.0, abs=0.01)
    assert design_effect(np.repeat(once, 2), np.repeat(riders, 2)) == pytest.approx(2.0, abs=0.02)
    assert design_effect(once[:1], riders[:1]) == 1.0


@pytest.mark.parametrize("counts", [(56, 70, 48, 80), (9, 10, 3, 10), (12, 200, 30, 220)])
def test_the_score_test_of_two_shares_is_pearsons(counts: tuple[int, int, int, int]) -> None:
    events, n, other_events, other_n = counts
    cells = [[events, n - events], [other_events, other_n - other_events]]
    assert share_difference_p(*counts) == pytest.approx(stats.chi2_contingency(cells, correction=False)[1])
    assert share_difference_p(0, n, 0, other_n) == 1.0

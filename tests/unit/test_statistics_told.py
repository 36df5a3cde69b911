"""The told interval and the one rule of claims, by hand."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard.questions.models.answers_models import EffectRow
from dashboard.questions.models.claims import (
    Found,
    SplitPrices,
    in_family,
    is_chosen_by_arrival,
    left_unjudged,
    price_of,
    prices_of_split,
)
from dashboard.questions.selection.selection import SPLITS
from shared.statistics.told import (
    NO_THIRD,
    NOT_NARROWER,
    OTHER_FORM,
    OUTSIDE,
    OVER_IDENTIFIED,
    PERSISTS,
    WEAK,
    Third,
    Told,
    direction,
    is_sure,
    told_interval,
)

# A third at 0.5 on so many degrees of freedom that its 99 % interval is 0.5 ± 2.5758 standard errors, all checks passed.
THIRD = Third(0.5, 0.05, 1e9, 23.1, 0.05, 0.05)


def test_the_bracket_is_told() -> None:
    assert told_interval(-0.2, 0.7) == Told(-0.2, 0.7, "bracket")


def test_where_the_two_differ_what_the_bracket_shares_with_the_third_s_interval_is_told() -> None:
    told = told_interval(0.4, 1.0, True, THIRD)
    assert (told.low, told.by, told.why) == (0.4, "sequential", None)
    assert told.high == pytest.approx(0.5 + 2.575829 * 0.05, abs=1e-6)
    within = told_interval(0.0, 1.0, True, THIRD)
    assert (within.low, within.high) == pytest.approx((0.5 - 2.575829 * 0.05, 0.5 + 2.575829 * 0.05), abs=1e-6)


def test_where_the_two_do_not_differ_the_third_is_not_asked() -> None:
    assert told_interval(0.4, 1.0, False, THIRD) == Told(0.4, 1.0, "bracket")


@pytest.mark.parametrize(
    ("changed", "why"),
    [
        ({"strength": 23.0}, WEAK),
        ({"strength": float("nan")}, WEAK),
        ({"m2_p_value": 0.049}, PERSISTS),
        ({"j_p_value": 0.049}, OVER_IDENTIFIED),
        ({"estimate": 2.0}, OUTSIDE),
        ({"standard_error": 0.5}, NOT_NARROWER),
    ],
)
def test_where_a_check_fails_the_bracket_is_told_and_why(changed: dict[str, float], why: str) -> None:
    assert told_interval(0.4, 1.0, True, replace(THIRD, **changed)) == Told(0.4, 1.0, "bracket", why)


def test_where_there_is_no_third_the_bracket_is_told_and_why() -> None:
    assert told_interval(0.4, 1.0, True) == Told(0.4, 1.0, "bracket", NO_THIRD)
    assert told_interval(0.4, 1.0, True, why=OTHER_FORM) == Told(0.4, 1.0, "bracket", OTHER_FORM)


@given(
    ends=st.tuples(st.floats(-5, 5), st.floats(-5, 5)),
    estimate=st.floats(-5, 5),
    error=st.floats(0.001, 5),
    df=st.floats(0.5, 1000),
    strength=st.floats(0, 100),
)
def test_what_is_told_is_never_wider_than_the_bracket(
    ends: tuple[float, float], estimate: float, error: float, df: float, strength: float
) -> None:
    low, high = sorted(ends)
    told = told_interval(low, high, True, Third(estimate, error, df, strength, 1.0, 1.0))
    assert low <= told.low <= told.high <= high


@pytest.mark.parametrize(
    ("low", "high", "q_value", "claimed"),
    [
        (0.1, 0.7, 0.049, 1),
        (-0.7, -0.1, 0.0, -1),
        (0.1, 0.7, 0.05, 0),  # chance may have brought it
        (-0.1, 0.7, 0.0, 0),  # holds zero
        (0.0, 0.7, 0.0, 0),  # touches it
        (-0.7, 0.0, 0.0, 0),
        (0.1, 0.7, None, 0),
        (None, None, None, 0),
        (float("-inf"), float("inf"), 1.0, 0),
    ],
)
def test_a_direction_needs_both_the_told_interval_and_q(
    low: float | None, high: float | None, q_value: float | None, claimed: int
) -> None:
    assert direction(low, high, q_value) == claimed


def test_what_is_no_interval_goes_by_q_alone() -> None:
    assert [is_sure(q_value) for q_value in (0.0, 0.049, 0.05, 1.0, None)] == [True, True, False, False, False]


def test_a_family_that_is_told_beside_others_pays_for_them() -> None:
    """Benjamini and Hochberg: of two, 0.02 becomes 0.04 and 0.5 stays; what has no p-value is no part of it."""
    assert in_family([0.02, None, 0.5]) == pytest.approx([0.04, None, 0.5], nan_ok=True)
    assert in_family([0.02, None, 0.5], 3) == pytest.approx([0.12, None, 1.0], nan_ok=True)
    assert in_family([]) == []


def row(outcome: str, low: float) -> EffectRow:
    figures = (1.0, 0.5, 1.5) * 2
    return EffectRow(outcome, "shim", "deg", None, None, 20, 40, *figures, low, 1.5, 0.01, "", told_low=low, told_high=1.5)


def test_an_outcome_in_which_something_acts_pays_for_those_in_which_nothing_does() -> None:
    """Of three outcomes: three in which something is claimed pay nothing, one alone pays for three; without any, each does."""
    acts, not_known = 0.5, -0.5
    for lows, prices in (
        ((acts, acts, acts), [1, 1, 1]),
        ((acts, acts, not_known), [1.5, 1.5, 3]),
        ((not_known, acts, not_known), [3, 3, 3]),
        ((not_known, not_known, not_known), [3, 3, 3]),
    ):
        overall = [row(outcome, low) for outcome, low in zip(("tilt", "sway", "offset"), lows, strict=True)]
        assert [price_of(outcome, overall) for outcome in ("tilt", "sway", "offset")] == prices


def test_a_split_pays_for_the_others_and_the_one_shown_unasked_pays_less() -> None:
    """Half of the level for foot type, the other half for the 16 others together; what acts overall is no news of a split."""
    acting = [row(outcome, 0.5) for outcome in ("tilt", "sway", "offset")]
    silent = [row("tilt", 0.5), row("sway", -0.5), row("offset", -0.5)]
    assert [prices_of_split("tilt", acting, split) for split in ("foot_type", "arch_height")] == [
        SplitPrices(1, 2), SplitPrices(1, 32),
    ]  # fmt: skip
    assert prices_of_split("tilt", silent, "side") == SplitPrices(3, 96)
    assert prices_of_split("sway", silent, "foot_type") == SplitPrices(6, 6)
    assert prices_of_split("sway", silent, "side") == SplitPrices(96, 96)
    assert len(SPLITS) == 17


def test_levels_chosen_by_the_arrival_keep_their_figures_and_claim_nothing() -> None:
    sure, refused = row("tilt", 0.5), replace(row("tilt", 0.5), words="Not enough yet.")
    judged, told = left_unjudged([Found(sure, 1e-9), Found(refused, None)])
    assert (judged.told_low, judged.q_value, judged.direction) == (0.5, None, 0)
    assert judged.words.startswith(
        "One more varus shim: nothing is claimed, since these knees are chosen by where they stood at"
    )
    assert told.words == "Not enough yet."
    assert [is_chosen_by_arrival(split) for split in (None, "foot_type", "arrival_direction")] == [False, False, True]

"""The told interval and the one rule of claims, by hand."""

from dataclasses import replace

import pytest

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
from shared.statistics.told import Told, direction, is_sure, told_interval


def test_the_bracket_is_told() -> None:
    assert told_interval(-0.2, 0.7) == Told(-0.2, 0.7, "bracket")


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

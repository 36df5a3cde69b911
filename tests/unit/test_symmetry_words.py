"""The sentences on side differences, what became of them and foot types, from figures that are set by hand."""

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from dashboard.questions.selection.recorded import Recorded
from dashboard.questions.symmetry import asymmetry, asymmetry_rows, both_sides, knee_patterns, types
from dashboard.questions.symmetry.answers_asymmetry import ChangeRow, DifferenceRow, PrevalenceRow, RepeatRow
from dashboard.questions.symmetry.asymmetry_rows import QUANTITIES
from shared.settings import Settings

TILT, SWAY, OFFSET = QUANTITIES


def bare(words: str) -> str:
    """With plain blanks, which may break a line."""
    return words.replace("\N{NO-BREAK SPACE}", " ")


CAME = PrevalenceRow(
    "tilt", "deg", 2.0, "arrival", "foot_type", "low / mild_varus", 1200, 480, 0.4, 0.33, 0.48, 0.3, 0.1, 0.02, 0.18, "It is.",
    p_value=0.01, q_value=0.01,
)  # fmt: skip


def test_a_limit_is_told_as_it_counts_itself_or_does_not() -> None:
    settings = Settings.model_validate({"knee": {"side_difference_deg": 2.0, "offset_difference_mm": 7.5}})
    assert TILT.limit_words(settings) == "2° or more"
    assert bare(OFFSET.limit_words(settings)) == "more than 7.5 mm"


def test_riders_with_a_side_difference_are_told_by_the_moment_and_the_level() -> None:
    assert bare(asymmetry_rows._prevalence_words(CAME, "2° or more")) == (
        "Foot type low / mild varus: 40 % of riders came with a side difference in tilt of 2° or more (33 to 48 %; 1,200 "
        "riders "
        "at their first session)."
    )
    left = replace(CAME, moment="departure", split=None, level=None)
    assert bare(asymmetry_rows._prevalence_words(left, "2° or more")).startswith(
        "40 % of riders left with a side difference in"
    )


@pytest.mark.parametrize(
    ("changed", "told"),
    [
        ({}, "It is, 10 points more than the other riders (2 to 18)."),
        ({"difference": -0.1, "difference_low": -0.18, "difference_high": -0.02},
         "It is, 10 points fewer than the other riders (2 to 18)."),
        ({"q_value": 0.06}, "It is, 10 points, no clear difference from the other riders (2 to 18)."),
        ({"difference": -0.1, "difference_low": -0.22, "difference_high": 0.02},
         "It is, −10 points, no clear difference from the other riders (−22 to 2)."),
        ({"q_value": None, "split": "arrival_direction"},
         "It is, 10 points, no difference told from the other riders (2 to 18)."),
        ({"difference": None}, "It is."),
        ({"difference_low": None}, "It is."),
    ],
)  # fmt: skip
def test_a_level_beside_the_other_riders_claims_what_interval_and_q_allow(changed: dict[str, Any], told: str) -> None:
    assert bare(asymmetry_rows.against_others(replace(CAME, **changed)).words) == told


CHANGED = ChangeRow(
    "side difference in tilt", None, None, 1100, 200, 100, 50, 750, 0.27, 0.14, -0.13, -0.2, -0.06, 0.001, 0.002, ""
)


def test_what_became_of_a_finding_is_counted_and_claimed_by_its_q() -> None:
    assert bare(asymmetry_rows.change_told(CHANGED).words) == (
        "Of 1,100 riders recorded at both ends, a side difference in tilt was resolved in 200, persisted in 100, was new in "
        "50 and "
        "absent at both in 750: from 27 % to 14 %, fewer (−13 points, −20 to −6)."
    )
    more = replace(CHANGED, finding="inward", difference=0.13, low=0.06, high=0.2)
    words = bare(asymmetry_rows.change_told(more).words)
    assert 'both ends, the pattern "inward" was resolved' in words and words.endswith(", more (13 points, 6 to 20).")
    unclear = bare(asymmetry_rows.change_told(replace(CHANGED, q_value=0.05)).words)
    assert unclear.endswith("to 14 %, no clear change (−13 points, −20 to −6).")
    chosen = replace(CHANGED, split="arrival_direction", level="inward", q_value=None)
    assert ", no change told (" in asymmetry_rows.change_told(chosen).words
    few = replace(CHANGED, share_arrival=None, words="Too few.")
    assert asymmetry_rows.change_told(few).words == "Too few."


def test_the_headline_tells_how_many_came_and_how_many_of_the_same_left_with_one() -> None:
    came = replace(CAME, words="40 % came with one.")
    end = "1,100 riders recorded at both ends)."
    assert bare(asymmetry_rows.headline_of(came, CHANGED)) == (
        f"40 % came with one. 14 % left with one, 13 points fewer (6 to 20; {end}"
    )
    more = replace(CHANGED, difference=0.13, low=0.06, high=0.2)
    assert bare(asymmetry_rows.headline_of(came, more)).endswith(f"14 % left with one, 13 points more (6 to 20; {end}")
    unclear = replace(CHANGED, q_value=0.06)
    assert bare(asymmetry_rows.headline_of(came, unclear)).endswith(
        f"14 % left with one, no clear change (−13 points, −20 to −6; {end}"
    )
    assert asymmetry_rows.headline_of(replace(came, words="not enough yet."), replace(CHANGED, low=None)) == "Not enough yet."


def test_a_change_counts_what_was_resolved_stayed_and_came_anew() -> None:
    """Of ten riders four lost it, two kept it, one got it, three never had it: from 6 to 3 of 10."""
    before, after = np.array([1] * 6 + [0] * 4, bool), np.array([0] * 4 + [1] * 3 + [0] * 3, bool)
    row = asymmetry_rows.change_row("inward", before, after, None, None, Settings())
    assert (row.n_resolved, row.n_persisting, row.n_new, row.n_none) == (4, 2, 1, 3)
    assert (row.share_arrival, row.share_departure, row.difference) == pytest.approx((0.6, 0.3, -0.3))
    # McNemar's exact test of 4 against 1: 2 · (1 + 5)/2⁵.
    assert row.p_value == pytest.approx(0.375)
    few = asymmetry_rows.change_row("inward", before[:2], after[:2], "foot_type", "low / neutral", Settings())
    assert few.words == "Foot type low / neutral: not enough yet, 2 riders recorded at both ends."


def test_differences_of_all_fits_are_told_by_their_middle_one_of_ten_and_their_mean() -> None:
    """Eleven riders at 0 to 10 in steps of one: the middle 5, one of ten 9; the mean 5 ∓ 2.228 · √11/√11 = 2.77 to 7.23."""
    fits = {"tilt_difference_arrival": np.arange(11.0), "rider": np.arange(11)}
    row = asymmetry_rows.difference_row(fits, TILT, "arrival", np.ones(11, bool), None, None, Settings())
    assert bare(row.words) == (
        "tilt at arrival: the sides differ by 5.0° in the middle fit and by 9.0° or more in one of ten; right less left is "
        "5.00° on "
        "average (2.77 to 7.23°; 11 fits)."
    )
    few = asymmetry_rows.difference_row(fits, TILT, "arrival", np.arange(11) < 2, None, None, Settings())
    assert (few.words, few.mean) == ("not enough yet, 2 riders.", None)


def repeats(before: list[float], after: list[float], name: str = "tilt") -> dict[str, np.ndarray]:
    """Both knees of each rider twice, the left one at zero."""
    none = np.zeros(len(before))
    pairs = {f"{name}_left_before": none, f"{name}_left": none}
    return {
        **pairs,
        f"{name}_right_before": np.array(before),
        f"{name}_right": np.array(after),
        "rider": np.arange(len(before)),
    }


def test_a_difference_beyond_the_limit_that_a_repeat_no_longer_shows_is_noise() -> None:
    """Of 20 differences of 2° or more 5 are smaller in the repeat; one of 1.9° is none. Wilson's interval of 5 of 20: 11 to "
    "47 %."""
    settings = Settings.model_validate({"knee": {"side_difference_deg": 2.0, "offset_difference_mm": 7.5}})
    pairs = repeats([2.0, -3.0] * 10 + [1.9], [1.9] * 5 + [-2.0] * 15 + [0.0])
    row = asymmetry_rows.repeat_row(pairs, TILT, settings)
    assert bare(row.words) == (
        "With nothing changed, 25 % of side differences in tilt of 2° or more were below it in the next capture (11 to 47 %; "
        "20 "
        "repeats): so many seem resolved by noise alone."
    )
    assert (row.n_pairs, row.n_beyond, row.n_no_longer) == (21, 20, 5)
    at_the_limit = asymmetry_rows.repeat_row(repeats([7.5, 8.0] * 5, [7.5] * 10, "offset"), OFFSET, settings)
    assert (at_the_limit.n_beyond, at_the_limit.n_no_longer) == (5, 5)
    few = asymmetry_rows.repeat_row(repeats([3.0], [0.0]), TILT, settings)
    assert few.words == "Side difference in tilt: not enough yet, 1 repeat of a difference beyond the limit."


def test_foot_types_are_told_by_their_share_beside_the_published_one() -> None:
    """Two feet of each of 20 riders, in 5 of whom both are of a kind: 20 riders' worth, Wilson's interval of 5 of 20."""
    rider, of_kind = np.repeat(np.arange(20), 2), np.repeat(np.arange(20) < 5, 2)
    row = types._type_row(rider, "forefoot", "varus", of_kind, None, None, Settings())
    assert bare(row.words).startswith("25 % of feet have a varus forefoot (11 to 47 %; 40 feet of 20 riders; ")
    assert bare(row.words).endswith(" % published).")
    arch = types._type_row(rider, "arch_height", "low", of_kind, "side", "left", Settings())
    assert bare(arch.words) == "Side left: 25 % of feet have a low arch (11 to 47 %; 40 feet of 20 riders)."
    few = types._type_row(rider[:1], "arch_height", "low", of_kind[:1], None, None, Settings())
    assert (few.words, few.share) == ("not enough yet, 1 foot examined.", None)
    said = {
        kind: types._said(column, kind)
        for column, kind in (("arch_collapse", "none"), ("collapse", "yes"), ("arch_collapse", "mild"))
    }
    assert said == {
        "none": "show no collapse of the arch", "yes": "collapse (an arch that gives way, or an everted heel)",
        "mild": "show mild collapse of the arch",
    }  # fmt: skip


def test_feet_of_one_rider_are_alike_where_both_were_examined() -> None:
    """Twenty-one riders, of twenty both feet; fifteen of these alike. Wilson's interval of 15 of 20 is 0.531 to 0.888."""
    rider, side = np.array([*range(21), *range(20)]), np.repeat([0, 1], [21, 20])
    kind = np.array([1] * 21 + [1] * 15 + [2] * 5)
    row = types._alike({"rider": rider, "side": side, "arch_height": kind}, "arch_height", Settings())
    assert bare(row.words) == "Both feet have the same arch height in 75 % of riders (53 to 89 %; 20 riders)."
    assert (row.n_riders, row.n_alike) == (20, 15)


def test_the_mean_of_both_sides_is_the_one_that_is_known_and_the_difference_right_less_left() -> None:
    left, right = np.array([2.0, np.nan, 4.0, np.nan]), np.array([4.0, 3.0, np.nan, np.nan])
    assert both_sides.mean_of_sides(left, right).tolist() == pytest.approx([3.0, 3.0, 4.0, np.nan], nan_ok=True)
    assert both_sides.side_difference(left, right).tolist() == pytest.approx([2.0, np.nan, np.nan, np.nan], nan_ok=True)


@pytest.mark.parametrize(
    ("ends", "q_value", "told"),
    [((0.1, 0.5), 0.01, "the right side leads."), ((-0.5, -0.1), 0.01, "the left side leads."),
     ((-0.1, 0.5), 0.01, "neither side clearly leads."), ((-0.5, 0.1), 0.01, "neither side clearly leads."),
     ((0.1, 0.5), 0.06, "neither side clearly leads.")],
)  # fmt: skip
def test_no_side_leads_where_the_interval_holds_zero(ends: tuple[float, float], q_value: float, told: str) -> None:
    row = DifferenceRow("tilt", "deg", "arrival", None, None, 40, 40, 0.2, *ends, 1.0, 2.0, "They differ.", 0.01, q_value)
    assert asymmetry_rows.leading_side(row).words == f"They differ: {told}"
    none = replace(row, mean=None)
    assert asymmetry_rows.leading_side(none) is none


def test_a_change_is_told_with_both_ends_in_points() -> None:
    """Of 200: 40 resolved, 20 persisting, 10 new, 130 with none: from 30 to 15 %."""
    row = ChangeRow("inward", None, None, 200, 40, 20, 10, 130, 0.3, 0.15, -0.15, -0.996, -0.084, 0.001, 0.001, "")
    assert bare(asymmetry_rows.change_told(row).words).endswith(
        "was resolved in 40, persisted in 20, was new in 10 and absent at both in 130: from 30 % to 15 %, fewer (−15 points, "
        "−100 to −8)."
    )
    up = replace(row, difference=0.15, low=0.084, high=0.996)
    assert bare(asymmetry_rows.change_told(up).words).endswith(", more (15 points, 8 to 100).")


def test_knees_are_opposed_by_their_offsets_only_where_these_lie_on_either_side() -> None:
    """Knees that stand neutral: 8 mm apart over the middle, from the middle itself, and on one side of it."""
    nothing = np.full(3, np.nan)
    knees = knee_patterns.Knees(
        np.zeros(3), np.zeros(3), nothing, nothing, np.array([-4.0, 0.0, 1.0]), np.array([4.0, 8.0, 9.0]), nothing
    )
    shown = knee_patterns.patterns(knees, Settings.model_validate({"knee": {"offset_difference_mm": 7.5}}).knee)
    assert shown["opposed"].tolist() == [True, False, False]
    assert [knee_patterns.PATTERNS[place] for place in knee_patterns.numbered(shown)] == ["opposed", "neutral", "neutral"]


def test_patterns_of_which_nothing_is_known_are_left_out_of_what_became_of_them() -> None:
    """Three riders: inward then neutral, inward then looping, neutral at both; of looping nothing is known."""
    named = {"arrival": np.array([2, 2, 4]), "departure": np.array([4, 1, 4])}
    firsts: Any = SimpleNamespace(has_pattern=dict.fromkeys(named, np.ones(3, bool)), named=named)
    flow = {
        (row.arrival_pattern, row.departure_pattern): row.n_riders for row in asymmetry._flow(firsts, ["inward", "neutral"])
    }
    assert flow == {("inward", "inward"): 0, ("inward", "neutral"): 1, ("neutral", "inward"): 0, ("neutral", "neutral"): 1}


def test_a_side_difference_that_is_not_recorded_says_so() -> None:
    change = ChangeRow("side difference in sway", None, None, 0, 0, 0, 0, 0, *((None,) * 7), "It is.")
    rows = [change, replace(change, finding="side difference in tilt")]
    sway, tilt = asymmetry._if_recorded(rows, Recorded(frozenset({"knee_captures.knee_sway_mm"})))
    assert (sway.words, tilt.words) == ("Side difference in sway: not recorded here (knee_captures.knee_sway_mm).", "It is.")
    repeats = RepeatRow("tilt", "deg", 2.0, 0, 0, 0, None, None, None, "It is.", 0)
    [told] = asymmetry._if_recorded([repeats], Recorded(frozenset({"foot_setups"})))
    assert told.words == "Repeats of a side difference: not recorded here (foot_setups)."


def test_a_split_by_the_arrival_warns_of_what_the_choice_alone_brings() -> None:
    assert asymmetry._chosen_by_arrival("arch_height") == asymmetry._chosen_by_arrival(None) == ()
    [caution] = asymmetry._chosen_by_arrival("arrival_direction")
    assert caution.startswith("Knees chosen by where they stood at arrival would move back a little with nothing changed")

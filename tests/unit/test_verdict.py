"""The words of an effect never claim more than its told interval and its q-value allow."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard.questions.models import verdict
from dashboard.questions.models.answers_models import EffectRow
from dashboard.questions.models.frames import SUPPORTS
from dashboard.questions.models.verdict import AGREE, APART, UNSURE
from shared.statistics import told


def row(support: str, outcome: tuple[str, str], low: float, high: float, q_value: float | None = 0.001) -> EffectRow:
    """A row of which only the told interval and the q-value may be claimed: the estimates and their bracket say otherwise."""
    figures = (-9.0, -9.5, -8.5, 9.0, 8.5, 9.5, -9.5, 9.5)
    name, unit = outcome
    return EffectRow(
        name, support, unit, None, None, 20, 40, *figures, q_value, "", told_low=low, told_high=high, told_by="bracket"
    )


def test_a_change_is_told_with_the_ends_of_the_told_interval() -> None:
    words = verdict.verdict(row("shim", ("tilt", "deg"), 0.42, 0.61), AGREE)
    assert words == "One more varus shim raises the tilt by 0.42 to 0.61°; both estimates agree."


def test_a_fall_is_told_from_the_smaller_to_the_larger() -> None:
    words = verdict.verdict(row("insole_low", ("sway", "mm"), -0.7, -0.3), AGREE)
    assert words == "A low insole takes sway away by 0.30 to 0.70\N{NO-BREAK SPACE}mm; both estimates agree."


def test_an_interval_over_zero_is_no_clear_change() -> None:
    words = verdict.verdict(row("stance", ("offset", "mm"), -0.2, 0.3), UNSURE)
    assert words == (
        "One mm of outward stance shows no clear change in offset: anything from −0.20 to 0.30\N{NO-BREAK SPACE}mm; no "
        "disagreement found, and little could be."
    )


def test_a_disagreement_says_that_the_truth_lies_between_and_promises_nothing_that_would_settle_it() -> None:
    words = verdict.verdict(row("shim", ("tilt", "deg"), 0.1, 0.7), APART)
    assert "differ by more than their noise (pooled −9.00°, within-knee 9.00°): the truth may lie anywhere between." in words
    assert "repeat" not in words and "trust" not in words
    assert "agree." not in words


@pytest.mark.parametrize(
    ("why", "words"),
    [
        (told.NO_THIRD, "too few riders have captures enough for the third"),
        (told.OTHER_FORM, "the third allows neither for a late effect nor for a drift by arch, and one was found"),
        (told.WEAK, "too few of the changes could be foreseen for the third to settle it"),
        (told.PERSISTS, "the third does not settle it, since the noise of one capture seems to reach the next"),
        (told.OVER_IDENTIFIED, "the third does not settle it, since the records it goes by contradict one another"),
        (told.OUTSIDE, "the third lies outside of both, so that none is believed over another"),
        (told.NOT_NARROWER, "the third is too uncertain to settle it"),
    ],
)
def test_a_bracket_that_the_third_leaves_as_it_is_says_why(why: str, words: str) -> None:
    said = verdict.verdict(row("shim", ("tilt", "deg"), 0.1, 0.7), APART, why)
    assert said.endswith(f"the truth may lie anywhere between; {words}.")


def test_a_bracket_that_the_third_narrows_says_so() -> None:
    narrowed = replace(row("shim", ("tilt", "deg"), 0.1, 0.7), told_by="sequential", sequential=0.4)
    said = verdict.verdict(narrowed, APART)
    assert said.endswith(
        "(pooled −9.00°, within-knee 9.00°): the third, by what was known before each capture, is 0.40° and narrows it."
    )
    assert "anywhere between" not in said


@given(
    support=st.sampled_from(SUPPORTS),
    outcome=st.sampled_from([("tilt", "deg"), ("sway", "mm"), ("offset", "mm"), ("off_neutral", "deg")]),
    low=st.floats(-5, 5),
    width=st.floats(0.02, 5),
    q_value=st.floats(0, 1),
    apart=st.sampled_from([AGREE, APART, UNSURE]),
)
def test_no_direction_is_claimed_where_the_told_interval_holds_zero_or_chance_may_have_brought_it(
    support: str, outcome: tuple[str, str], low: float, width: float, q_value: float, apart: str
) -> None:
    words = verdict.verdict(row(support, outcome, low, low + width, q_value), apart)
    claims = not words.count("no clear change")
    assert claims == (q_value < 0.05 and (low > 0 or low + width < 0))


@pytest.mark.parametrize(("n", "riders", "told"), [(1, 1, "1 change in 1 rider;"), (4, 3, "4 changes in 3 riders;")])
def test_too_few_changes_are_told_with_their_counts(n: int, riders: int, told: str) -> None:
    assert told in verdict.not_enough("shim", n, riders, "10 changes in 10 riders")

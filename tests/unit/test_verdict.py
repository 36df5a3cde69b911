"""The words of an effect never claim more than its bracket."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard.questions.models import verdict
from dashboard.questions.models.frames import SUPPORTS
from dashboard.questions.models.verdict import Figures


def test_a_change_is_told_with_the_ends_of_the_bracket() -> None:
    words = verdict.verdict("shim", "tilt", "deg", Figures(0.5, 0.54, 0.42, 0.61, False))
    assert words == "One more varus shim raises the tilt by 0.42 to 0.61°; both estimates agree."


def test_a_fall_is_told_from_the_smaller_to_the_larger() -> None:
    words = verdict.verdict("insole_low", "sway", "mm", Figures(-0.5, -0.5, -0.7, -0.3, False))
    assert words == "A low insole takes sway away by 0.30 to 0.70\N{NO-BREAK SPACE}mm; both estimates agree."


def test_a_bracket_over_zero_is_no_clear_change() -> None:
    words = verdict.verdict("stance", "offset", "mm", Figures(0.1, 0.0, -0.2, 0.3, False))
    assert words.startswith(
        "One mm of outward stance shows no clear change in offset: anything from −0.20 to 0.30\N{NO-BREAK SPACE}mm"
    )


def test_a_disagreement_says_what_would_settle_it() -> None:
    words = verdict.verdict("shim", "tilt", "deg", Figures(0.2, 0.6, 0.1, 0.7, True))
    assert "differ by more than their noise (pooled 0.20°, within-knee 0.60°)" in words
    assert "a repeat capture before a change" in words
    assert "agree." not in words


@given(
    support=st.sampled_from(SUPPORTS),
    outcome=st.sampled_from([("tilt", "deg"), ("sway", "mm"), ("offset", "mm")]),
    low=st.floats(-5, 5),
    width=st.floats(0.02, 5),
)
def test_no_direction_is_claimed_where_the_bracket_holds_zero(
    support: str, outcome: tuple[str, str], low: float, width: float
) -> None:
    words = verdict.verdict(support, *outcome, Figures(low, low + width, low, low + width, False))
    claims = not words.count("no clear change")
    assert claims == (low > 0 or low + width < 0)


@pytest.mark.parametrize(("n", "riders", "told"), [(1, 1, "1 change in 1 rider;"), (4, 3, "4 changes in 3 riders;")])
def test_too_few_changes_are_told_with_their_counts(n: int, riders: int, told: str) -> None:
    assert told in verdict.not_enough("shim", n, riders, "10 changes in 10 riders")

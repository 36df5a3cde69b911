"""The told interval and the one rule of claims, by hand."""

import pytest

from dashboard.questions.models.claims import in_family
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


def test_a_family_that_is_one_of_several_pays_for_the_others() -> None:
    """Benjamini and Hochberg: of two, 0.02 becomes 0.04 and 0.5 stays; what has no p-value is no part of it."""
    assert in_family([0.02, None, 0.5]) == pytest.approx([0.04, None, 0.5], nan_ok=True)
    assert in_family([0.02, None, 0.5], 3) == pytest.approx([0.12, None, 1.0], nan_ok=True)
    assert in_family([]) == []

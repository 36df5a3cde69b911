"""Which rows of an answer an anonymous export gives out, on rows made for it."""

from dataclasses import dataclass, replace
from datetime import date

import pytest

from dashboard.export.answers_shown import shown
from dashboard.questions.effects.answers_effects import ResponderRow
from dashboard.questions.studio.answers_studio import StudioFigure
from dashboard.questions.studio.answers_trends import TrendRow
from dashboard.questions.symmetry.answers_asymmetry import PrevalenceRow


def figure(n: int, share: float) -> StudioFigure:
    return StudioFigure("return_rate", "share", "fit", n, share, share - 0.011, share + 0.012, "words", n)


@pytest.mark.parametrize(
    ("n", "share", "is_told"),
    [
        *((9, 0.5, False), (20, 0.5, True), (19, 10 / 19, False), (0, 0.0, False)),
        # A share of nobody, of everybody, and of all but a few tells each of them.
        *((100, 0.0, False), (100, 1.0, False), (100, 0.09, False), (100, 0.1, True), (100, 0.9, True), (100, 0.91, False)),
    ],
)
def test_a_share_needs_ten_on_either_side(n: int, share: float, is_told: bool) -> None:
    assert bool(shown("studio", "figures", [figure(n, share)], 10)) == is_told


@dataclass(frozen=True)
class Counted:
    """A row that does not say how many riders it rests on."""

    counted: str
    n: int


@pytest.mark.parametrize(
    ("counted", "n", "is_told"), [("fit", 49, False), ("fit", 50, True), ("knee", 99, False), ("knee", 100, True)]
)
def test_fits_and_knees_are_no_riders(counted: str, n: int, is_told: bool) -> None:
    """Of a studio whose riders came up to five times, fifty fits or a hundred knees are at least ten riders."""
    assert bool(shown("studio", "figures", [Counted(counted, n)], 10, most_fits=5)) == is_told
    row = StudioFigure("comfort_gained", "points", counted, n, 1.5, 1.0, 2.0, "words", 10)
    assert shown("studio", "figures", [row], 10, most_fits=5) and not shown("studio", "figures", [replace(row, n_riders=9)], 10)


def test_counts_are_told_in_fives_and_shares_in_hundredths() -> None:
    [row] = shown("studio", "figures", [figure(123, 0.31234)], 10)
    assert (row.n, row.estimate, row.low, row.high) == (125, 0.31, 0.3, 0.32)


def test_a_list_that_is_not_named_is_not_given_out() -> None:
    assert shown("studio", "trend", [figure(100, 0.5)], 10) == []
    assert shown("riders", "riders", [figure(100, 0.5)], 10) == []


def quarter(month: int, n: int) -> TrendRow:
    return TrendRow(
        "comfort", "points", "fit", date(2025, month, 1), n, 1.23456, 1.0, 0.5, 1.5, True, False, False, "", "note", n
    )


@pytest.mark.parametrize(
    ("counts", "told"),
    [
        ((50, 60, 70, 80), (50, 60, 70, 80)),
        # One quarter of few would be the year less the others: the smallest of the others goes with it.
        ((4, 60, 50, 80), (60, 80)),
        # Two together are enough only from ten on.
        ((4, 5, 50, 80), (80,)),
        ((4, 6, 50, 80), (50, 80)),
        # A quarter of nobody hides nothing.
        ((0, 60, 50, 80), (60, 50, 80)),
        ((4, 0, 0, 0), ()),
    ],
)
def test_what_the_whole_less_the_others_would_tell_is_held_back_too(counts: tuple[int, ...], told: tuple[int, ...]) -> None:
    rows = [quarter(1 + 3 * place, n) for place, n in enumerate(counts)]
    kept = shown("trends", "trend", rows, 10)
    assert tuple(row.n for row in kept) == told
    assert all(row.estimate == 1.23 for row in kept)


def level(name: str, n: int, moment: str = "arrival") -> PrevalenceRow:
    return PrevalenceRow(
        "tilt",
        "deg",
        2.0,
        moment,
        "riding",
        name,
        n,
        n // 2,
        (n // 2) / n if n else None,
        0.1,
        0.9,
        None,
        None,
        None,
        None,
        "words",
    )


def test_levels_of_one_moment_are_no_difference_of_another() -> None:
    rows = [level("road", 100), level("gravel", 50), level("indoor", 3), level("road", 100, "departure")]
    assert [(row.level, row.moment) for row in shown("asymmetry", "prevalence", rows, 10)] == [
        ("road", "arrival"),
        ("road", "departure"),
    ]


def test_kinds_that_add_up_stand_or_fall_together() -> None:
    def kind(outcome: str, response: str, n: int) -> ResponderRow:
        return ResponderRow(outcome, response, 1.7, "deg", n, 200, n / 200, 0.1, 0.2, "words", 200)

    few = [kind("tilt", "better", 95), kind("tilt", "unchanged", 100), kind("tilt", "worse", 5)]
    enough = [kind("sway", "better", 50), kind("sway", "unchanged", 100), kind("sway", "worse", 50)]
    assert {row.outcome for row in shown("effects", "responders", [*few, *enough], 10)} == {"sway"}

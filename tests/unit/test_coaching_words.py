"""The sentences on fitters, on agreement with the exam and on shims by place, from figures that are set by hand."""

from dataclasses import replace
from datetime import date
from typing import Any

import numpy as np
import pytest

from dashboard.questions.coaching import agreement, agreement_severity, fitters_process, fitters_words, shim_places
from dashboard.questions.coaching.answers_agreement import OutcomeRow
from dashboard.questions.coaching.answers_fitters import BETWEEN, BEYOND, WITHIN, DispersionRow, FitterRow
from shared.settings import Settings


def bare(words: str) -> str:
    """With plain blanks, which may break a line."""
    return words.replace("\N{NO-BREAK SPACE}", " ")


SHARE = FitterRow(
    "return_rate", "share", "F1", 1200, 90, observed=0.38, expected=0.5, ratio=0.76, ratio_low=0.6, ratio_high=0.95,
    difference=-0.12, difference_low=-0.2, difference_high=-0.025, limit_outer_low=0.3, limit_inner_low=0.4,
    limit_inner_high=0.6, limit_outer_high=0.7, p_value=0.001, q_value=0.001,
)  # fmt: skip


@pytest.mark.parametrize(
    ("observed", "q_value", "place"),
    [(0.4, 0.001, WITHIN), (0.6, 0.001, WITHIN), (0.39, 0.001, BETWEEN), (0.61, 0.001, BETWEEN), (0.3, 0.001, BETWEEN),
     (0.7, 0.001, BETWEEN), (0.29, 0.001, BEYOND), (0.71, 0.001, BEYOND), (0.71, 0.06, BETWEEN), (0.29, None, BETWEEN)],
)  # fmt: skip
def test_a_limit_itself_is_inside_and_beyond_asks_for_a_small_q(observed: float, q_value: float | None, place: str) -> None:
    assert replace(SHARE, observed=observed, q_value=q_value).place == place


def test_a_fitters_share_is_told_as_a_ratio_and_a_mean_as_a_difference() -> None:
    assert bare(fitters_words.row_words(SHARE, Settings())) == (
        "F1: 38 % of 1,200 fits, 50 % expected of these riders (ratio 0.76, 0.60 to 0.95); outside the 95 % limits, no more "
        "than "
        "chance may bring among so many figures."
    )
    below = replace(SHARE, observed=0.29)
    assert fitters_words.row_words(below, Settings()).endswith("; below the 99.8 % limits: look at these fits together.")
    above = replace(SHARE, observed=0.71, difference=0.21)
    assert fitters_words.row_words(above, Settings()).endswith("; above the 99.8 % limits: look at these fits together.")
    tilt = replace(SHARE, outcome="nearer_neutral", unit="deg", observed=0.45, difference=-0.05)
    assert bare(fitters_words.row_words(tilt, Settings())) == (
        "F1: 0.45° over 1,200 fits, 0.50° expected of these riders (difference −0.05°, −0.20 to −0.03°); within the 95 % "
        "limits."
    )
    points = replace(tilt, unit="points")
    assert bare(fitters_words.row_words(points, Settings())).startswith("F1: 0.45 points over 1,200 fits, 0.50 points expected")


def test_scatter_is_claimed_by_its_q_in_one_family_with_the_figures() -> None:
    """p of 0.02 and 0.04 with another of 0.9: q is 0.06, 0.06 and 0.9; 0.01 beside them alone gives 0.02 of two."""
    scatter = DispersionRow("return_rate", "share", 5, 0.1, 2.0, 0.04, 0.05, 0.1, "by share", "")
    rows, (told,) = fitters_words.judged([replace(SHARE, p_value=0.02), replace(SHARE, p_value=0.9)], [scatter], Settings())
    assert [row.q_value for row in rows] == pytest.approx([0.06, 0.9])
    assert (told.q_value, told.words) == (
        pytest.approx(0.06),
        "Riders who came back: 5 fitters scatter no more than by chance.",
    )
    _, (sure,) = fitters_words.judged([replace(SHARE, p_value=0.9)], [replace(scatter, p_value=0.01)], Settings())
    assert sure.words == "Riders who came back: 5 fitters scatter more than chance alone."
    silent = replace(scatter, p_value=None, words="Why not.")
    _, (left,) = fitters_words.judged([], [silent], Settings())
    assert (left.words, left.q_value) == ("Why not.", None)


def test_headlines_without_any_figure_name_who_has_too_few() -> None:
    few = FitterRow("return_rate", "share", "F2", 3, 3)
    assert fitters_words.headline_of((few, replace(few, fitter_id="F1")), Settings()) == (
        "No fitter can be compared yet. Too few fits yet: F1, F2."
    )


@pytest.mark.parametrize(
    ("counts", "words"),
    [
        ((2, 1, 0), "2 levels and 1 shim"),
        ((1, 0, 0), "1 level"),
        ((1, 2, 1), "1 level, 2 shims and 1 other finding"),
        ((0, 0, 2), "2 other findings"),
    ],
)
def test_the_distance_from_the_exam_names_what_there_is(counts: tuple[int, int, int], words: str) -> None:
    assert agreement_severity.distance_words(*counts) == words


def test_what_became_of_a_fit_is_told_from_arrival_to_departure() -> None:
    row: dict[str, Any] = {
        "tilt_left_arrival": -3.04, "tilt_left_departure": -1.96, "tilt_right_arrival": 1.0, "tilt_right_departure": None,
        "comfort_arrival": 4, "comfort_departure": 7, "pain_arrival": None, "pain_departure": 2,
    }  # fmt: skip
    assert agreement_severity._outcome_words(row) == (
        "tilt left −3.0° to −2.0°, right not recorded at both ends; comfort 4 to 7; worst pain not recorded at both ends"
    )


OUTCOME = OutcomeRow("less_sway", "mm", 60, 40, 20, *(None,) * 6, "", 30)


def test_agreement_and_an_outcome_go_along_only_where_interval_and_q_say_so() -> None:
    """Over two tables q of one p of 0.02 is 0.04, of 0.03 it is 0.06."""
    told = replace(OUTCOME, difference=0.8, low=0.2, high=1.4, words="Fits in agreement lost more", p_value=0.02)
    [clear] = agreement._clear_or_not([told])
    assert (clear.words, clear.q_value) == ("Fits in agreement lost more. It goes along and is no proof.", pytest.approx(0.04))
    [unclear] = agreement._clear_or_not([replace(told, p_value=0.03)])
    assert (unclear.words, unclear.q_value) == ("Fits in agreement lost more: no clear difference.", pytest.approx(0.06))
    [none] = agreement._clear_or_not([replace(OUTCOME, words="Not enough yet.")])
    assert (none.words, none.q_value) == ("Not enough yet.", None)


def test_levels_of_agreement_are_named_as_a_reader_does() -> None:
    assert agreement._level_name("month", "2026-03-01") == date(2026, 3, 1).strftime("%B %Y") == "March 2026"
    assert agreement._level_name("fitter", "F3") == "Fitter F3"


def changes(in_shoe: list[float], at_cleat: list[float]) -> dict[str, np.ndarray]:
    """The change of tilt after one more shim, each of a rider of their own; none of sway."""
    tilt = np.array([*in_shoe, *at_cleat])
    places = np.repeat([0, 1], [len(in_shoe), len(at_cleat)])
    return {"tilt": tilt, "sway": np.full(len(tilt), np.nan), "rider": np.arange(len(tilt)), "is_at_cleat": places}


def test_shims_by_place_are_told_with_their_means_and_the_difference_only_where_it_is_clear() -> None:
    """Ten changes of 0.4 and 0.6 in the shoe: mean 0.5, standard deviation 0.105, 0.5 ∓ 2.262 · 0.105/√10 = 0.42 to 0.58."""
    rows = list(shim_places.shim_places(changes([0.4, 0.6] * 5, [1.0, 1.2] * 5), Settings()))
    shoe, cleat, apart, *of_sway = rows
    assert bare(shoe.words) == (
        "After one more varus shim in the shoe, tilt changed by 0.50° on average (0.42 to 0.58°; 10 changes), part of it the "
        "noise "
        "that led to it."
    )
    assert bare(cleat.words).startswith(
        "After one more varus shim at the cleat, tilt changed by 1.10° on average (1.02 to 1.18°;"
    )
    # t with 18 degrees of freedom is 2.101, the standard error √(2 · 0.105²/10) = 0.0471.
    assert bare(apart.words) == "The change of tilt was 0.60° higher at the cleat than in the shoe (0.50 to 0.70°)."
    assert bare(of_sway[0].words) == "A shim in the shoe: not enough yet, 0 changes of 0 riders with nothing else changed."
    assert of_sway[2].words == "The two places cannot be compared yet."
    *_, lower = list(shim_places.shim_places(changes([1.0, 1.2] * 5, [0.4, 0.6] * 5), Settings()))[:3]
    assert "0.60° lower at the cleat than in the shoe (−0.70 to −0.50°)." in bare(lower.words)
    *_, alike = list(shim_places.shim_places(changes([0.4, 0.6] * 5, [0.42, 0.62] * 5), Settings()))[:3]
    assert alike.words.endswith("): no clear difference.")


def test_what_a_fitter_did_is_a_share_of_the_fits_that_it_was_due_in() -> None:
    """Of 40 fits 30 were due and 15 of these done; Wilson's interval of 15 of 30 is 0.332 to 0.668, by his formula."""
    due, done = np.arange(40) < 30, np.arange(40) % 2 == 0
    process = fitters_process._Process("repeat_capture", done, due, np.arange(40), np.zeros(40, int))
    row = fitters_process._process_row((0, "F1"), process, Settings.model_validate({"minimum": {"sessions_per_fitter": 30}}))
    assert bare(row.words) == "F1, repeat capture taken: 50 % (33 to 67 %; 15 of 30 fits)."
    few = fitters_process._process_row((0, "F1"), process, Settings.model_validate({"minimum": {"sessions_per_fitter": 31}}))
    assert (few.words, few.share) == ("F1, repeat capture taken: not enough yet, 15 of 30 fits.", None)

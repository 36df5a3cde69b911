"""The sentences on fitters, on agreement with the exam and on shims by place, from figures that are set by hand."""

from dataclasses import replace
from datetime import date
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from dashboard.questions.coaching import (
    agreement,
    agreement_severity,
    fitters,
    fitters_process,
    fitters_words,
    riders_mix,
    shim_places,
)
from dashboard.questions.coaching.answers_agreement import OutcomeRow
from dashboard.questions.coaching.answers_fitters import BETWEEN, BEYOND, WITHIN, DispersionRow, FitterRow
from dashboard.questions.coaching.fitters_named import fitter_names
from dashboard.questions.selection.coded import CODES
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


def test_what_knees_came_with_is_the_mean_of_both_and_the_size_of_their_difference() -> None:
    """−3 and 1 degrees: 2 from neutral, −1 on the mean, 4 between the sides; 8 and 12 mm of sway."""
    rows = {"tilt_left_arrival": -3.0, "tilt_right_arrival": 1.0, "sway_left_arrival": 8.0, "sway_right_arrival": 12.0}
    arrived = riders_mix._arrival({name: np.array([value]) for name, value in rows.items()})
    assert {name: values.tolist() for name, values in arrived.items()} == {
        "off_neutral_arrival_deg": [2.0], "tilt_arrival_deg": [-1.0],
        "side_difference_arrival_deg": [4.0], "sway_arrival_mm": [10.0],
    }  # fmt: skip


def test_levels_of_an_exam_are_the_share_of_the_feet_that_have_them() -> None:
    """Codes count from 1 in the order of the contract; one low arch of two is a half, both heels everted are one."""
    code = {name: CODES[name].index(level) + 1 for name, level in (("arch_height", "low"), ("heel_posture", "everted"))}
    rows = {f"{name}_{side}": np.array([0]) for name in CODES for side in ("left", "right")}
    rows |= {"arch_height_left": np.array([code["arch_height"]])}
    rows |= {f"heel_posture_{side}": np.array([code["heel_posture"]]) for side in ("left", "right")}
    rows |= {"forefoot_angle_left": np.array([2.0]), "forefoot_angle_right": np.array([5.0])}
    exam = {name: values.tolist() for name, values in riders_mix._exam(rows).items() if values.any()}
    assert exam == {"forefoot_angle_deg": [3.5], "arch_low": [0.5], "heel_everted": [1.0]}


def compared(unit: str, values: list[float], expected: float, variance: float) -> FitterRow:
    """One fitter with forty fits, each of another rider, all of whom should have the same; alone, so without any other."""
    n = len(values)
    model: Any = SimpleNamespace(expected=np.full(n, expected), variance=np.full(n, variance))
    made = fitters._Outcome("return_rate", unit, np.array(values), np.ones(n, bool))
    settings = Settings.model_validate({"minimum": {"sessions_per_fitter": 40}})
    return fitters._compared(made, "F1", np.array(values), np.arange(n), np.ones(n, bool), model, 1.0, settings).row


def test_a_fitters_share_is_compared_with_the_expected_by_its_binomial_error() -> None:
    """30 of 40, a half expected: 0.25 above, an error of √(0.25/40) = 0.0791, z of 3.162 and p of 0.00157 (normal)."""
    row = compared("share", [1.0] * 30 + [0.0] * 10, 0.5, 0.25)
    assert (row.observed, row.expected, row.difference, row.ratio) == pytest.approx((0.75, 0.5, 0.25, 1.5))
    assert (row.z, row.p_value) == pytest.approx((3.1623, 0.001565), abs=1e-4)
    # Wilson's interval of 30 of 40 is 0.598 to 0.858 (by his formula).
    assert (row.difference_low, row.difference_high) == pytest.approx((0.0981, 0.3581), abs=1e-3)
    assert (row.ratio_low, row.ratio_high) == pytest.approx((1.196, 1.716), abs=1e-3)
    few = compared("share", [1.0] * 39, 0.5, 0.25)
    assert (few.words, few.observed) == ("F1: not enough yet, 39 fits of the 40 needed.", None)


def test_a_fitters_mean_is_what_is_left_beyond_the_expected() -> None:
    """Twenty at 1 and twenty at 3, 1.5 expected: 0.5 above; limits at 1.96 and 3.09 errors of √(1/40) about the expected."""
    row = compared("points", [1.0, 3.0] * 20, 1.5, 1.0)
    assert (row.observed, row.expected, row.difference, row.ratio) == (2.0, 1.5, pytest.approx(0.5), None)
    error = (1 / 40) ** 0.5
    limits = (row.limit_outer_low, row.limit_inner_low, row.limit_inner_high, row.limit_outer_high)
    assert limits == pytest.approx([1.5 + reach * error for reach in (-3.0902, -1.96, 1.96, 3.0902)], abs=1e-3)
    assert row.z == pytest.approx(0.5 / error)


def test_a_figure_without_its_limits_has_no_place() -> None:
    for name in ("observed", "limit_outer_low", "limit_inner_low", "limit_inner_high", "limit_outer_high"):
        assert replace(SHARE, **{name: None}).place is None


def test_two_riders_are_enough_to_tell_what_a_fitter_did() -> None:
    own = Settings.model_validate({"minimum": {"sessions_per_fitter": 10}})
    for riders, is_told in ((2, True), (1, False)):
        process = fitters_process._Process(
            "agreement", np.ones(10, bool), np.ones(10, bool), np.arange(10) % riders, np.zeros(10)
        )
        assert (fitters_process._process_row((0, "F1"), process, own).share is not None) == is_told


def test_what_is_asked_of_each_fit_is_taken_from_its_own_column() -> None:
    fits = {name: np.array([name == on for on in COLUMNS]) for name in COLUMNS}
    fits |= {"rider": np.arange(5), "fitter": np.zeros(5, int)}
    told = {one.process: (one.done.tolist(), one.due.tolist()) for one in fitters_process._processes(fits)}
    every, only = [True] * 5, lambda place: [number == place for number in range(5)]
    assert told == {
        "exam_complete": (only(0), every), "bike_measured": (only(1), every), "repeat_capture": (only(2), every),
        "follow_up_booked": (only(4), only(3)),
    }  # fmt: skip


COLUMNS = ("is_examined", "has_departure_bike", "has_repeat", "asks_booking", "has_booked")


def test_scatter_between_two_fitters_is_not_told_and_why() -> None:
    two = [fitters._Compared(SHARE, 0.1, 0.1), fitters._Compared(SHARE, -0.1, 0.1)]
    outcome = fitters._Outcome("return_rate", "share", np.zeros(2), np.ones(2, bool))
    scatter, words = fitters._scatter(two, outcome, Settings())
    name = fitters_words.NAMES["return_rate"]
    assert scatter is None
    assert words == f"{name}: Not enough yet: 2 fitters with enough fits, and their scatter needs at least 3."


@pytest.mark.parametrize(("gap", "way"), [(1.0, "more"), (-1.0, "less")])
def test_fits_in_agreement_are_told_beside_flagged_ones_that_began_alike(gap: float, way: str) -> None:
    """Twenty-four riders who began at 4 or 5 alike on both sides; those in agreement gained one point more, or less."""
    agrees, start = np.repeat([True, False], 12), np.tile([4.0, 5.0], 12)
    gained = 2.0 + gap * agrees + np.tile([0.1, 0.1, -0.1, -0.1], 6)
    judged: Any = SimpleNamespace(
        fits={"gained": gained, "start": start, "rider": np.arange(24)}, is_judged=np.ones(24, bool), agrees=agrees
    )
    asked = ("comfort_gained", "points", "gained", "start", "gained comfort by", "points", Settings())
    row = agreement._outcome(judged, *asked)
    assert bare(row.words).startswith(
        f"Fits in agreement gained comfort by 1.00 points {way} than flagged ones that began alike ("
    )
    assert row.words.endswith("points; 24 fits)")
    assert (row.crude_difference, row.difference) == (pytest.approx(gap), pytest.approx(gap))
    few = agreement._outcome(SimpleNamespace(**{**vars(judged), "agrees": np.arange(24) < 1}), *asked)
    assert few.words == "Not enough yet: 1 fit in agreement and 23 flagged with this outcome."


def test_nothing_is_to_look_at_where_nothing_can_be_judged() -> None:
    def told(judged: list[bool], look: list[bool]) -> str:
        return agreement._look_words(SimpleNamespace(is_judged=np.array(judged), to_look_at=np.array(look)), Settings())

    assert told([False, False], [False, False]) == ""
    assert told([True, True], [True, False]).startswith("1 of 2 fits that can be judged is to look at together: ")
    assert told([True, True], [True, True]).startswith("2 of 2 fits that can be judged are to look at together: ")


def test_names_of_fitters_are_read_by_their_ids() -> None:
    rows = [{"fitter_id": "F1", "fitter_name": "Alder"}, {"fitter_id": "F2", "fitter_name": "Birch"}]
    warehouse: Any = SimpleNamespace(rows=lambda path: rows if path.name == "fitter_names.sql" else [])
    assert fitter_names(warehouse) == {"F1": "Alder", "F2": "Birch"}


def test_what_riders_came_with_has_a_column_for_each_measure_and_level() -> None:
    """Both feet are low, or neither; and so on: forty fits in which each level is had by ten."""
    n, level = 40, np.repeat([0, 1, 2, 3], 10)
    rows: dict[str, Any] = {
        f"{name}_{side}": level for name in ("arch_height", "arch_collapse", "heel_posture", "squat_knee_path")
        for side in ("left", "right")
    }  # fmt: skip
    rows |= {
        f"{name}_{side}_arrival": np.arange(n) + (side == "left") for name in ("tilt", "sway") for side in ("left", "right")
    }
    rows |= {f"forefoot_angle_{side}": np.arange(float(n)) for side in ("left", "right")}
    rows |= {"rider": np.arange(n), "visit_kind": np.ones(n, int), "bike_kind": np.tile([1, 2], 20)}
    assert riders_mix.case_mix(rows, ["gravel", "road"]).terms == (
        "intercept", "off_neutral_arrival_deg", "off_neutral_arrival_deg squared", "tilt_arrival_deg", "sway_arrival_mm",
        "forefoot_angle_deg", "arch_low", "arch_high", "collapse_some", "collapse_marked", "heel_inverted", "heel_everted",
        "squat_inward", "squat_outward", "bike_kind road",
    )  # fmt: skip

"""The charts by dose and by arrival direction draw the numbers of their answers; plotly's own validator accepts them."""

from dataclasses import replace

import plotly.graph_objects as go
import pytest

from dashboard.figures import neutral
from dashboard.figures.dose import alternative, dose_chart, dose_name, finding, line_test, of_support
from dashboard.figures.effects import estimates_differ, in_order
from tests.unit.made_answers import made_effects
from tests.unit.made_effects import DOSES, NEUTRAL, dose

SHIMS = of_support(DOSES, "tilt", "shim")


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_plotly_accepts_every_chart(theme: str) -> None:
    for figure in (
        dose_chart(SHIMS, "tilt", "shim", theme),
        dose_chart(of_support(DOSES, "tilt", "stance"), "tilt", "stance", theme),
        dose_chart([dose("shim", 1, None, 3)], "tilt", "shim", theme),
        neutral.neutral_chart(NEUTRAL, theme),
        neutral.neutral_chart((), theme),
    ):
        assert go.Figure(figure).layout.height == figure["layout"]["height"]


def test_doses_stand_in_order_with_their_intervals() -> None:
    assert [row.dose for row in SHIMS] == [-1, 1, 2, 3]
    _, unclear, told, pooled, within, few = dose_chart(SHIMS, "tilt", "shim", "light")["data"]
    assert (told["x"], told["y"][:2]) == ([-1, -1, None, 2, 2, None], pytest.approx([-0.7, -0.1]))
    assert (unclear["x"], unclear["y"]) == ([1, 1, None], pytest.approx([0.3, 0.9, None], nan_ok=True))
    assert [round(x) for x in pooled["x"]] == [-1, 1, 2]
    assert pooled["y"] == [-0.5, 0.5, 1.0]
    assert pooled["error_y"]["array"] == pytest.approx([0.2, 0.2, 0.2])
    assert pooled["error_y"]["arrayminus"] == pytest.approx([0.2, 0.2, 0.2])
    assert within["error_y"]["array"] == pytest.approx([0.3, 0.3, 0.3])
    assert within["marker"]["symbol"] != pooled["marker"]["symbol"]
    assert few["x"] == [3]
    assert "not enough yet, 6 changes" in few["text"][0]


def test_the_straight_line_goes_through_none_and_ends_where_the_data_end() -> None:
    line = dose_chart(SHIMS, "tilt", "shim", "light")["data"][0]
    assert list(zip(line["x"], line["y"], strict=True)) == [(-1, -0.5), (0, 0), (1, 0.5), (2, 1.0)]


def test_the_ground_beyond_the_last_dose_that_can_be_told_is_shaded() -> None:
    shown = dose_chart(SHIMS, "tilt", "shim", "light")["layout"]
    below, above = shown["shapes"]
    assert below["x1"] == -1.5
    assert above["x0"] == 2.5
    assert above["x1"] == shown["xaxis"]["range"][1] > 3


def test_the_changes_behind_a_dose_stand_under_it() -> None:
    axis = dose_chart(SHIMS, "tilt", "shim", "light")["layout"]["xaxis"]
    assert axis["ticktext"] == ["−1<br>263", "none", "1<br>1,429", "2<br>620", "3<br>6"]


def test_the_title_says_whether_the_line_is_straight_and_where_the_data_end() -> None:
    assert finding(SHIMS, "tilt", "shim") == "Shims and tilt: no bend in the line seen, known from −1 shim to 2 shims"
    by_chance = [replace(row, line_p_value=0.01, line_q_value=0.06) for row in SHIMS]
    assert "no bend in the line seen, known" in finding(by_chance, "tilt", "shim")
    bent = [replace(row, line_p_value=0.01, line_q_value=0.04) for row in SHIMS]
    assert "not a straight line, known" in finding(bent, "tilt", "shim")
    test = "Test of the straight line against any other: p = 0.010"
    assert line_test(bent) == f"{test}; among all supports and outcomes, q = 0.040."
    rough = [replace(row, is_rough=True) for row in bent]
    assert (line_test(rough) or "").startswith(f"{test}, a rough figure, since it rests on few riders;")
    assert finding([SHIMS[-1]], "tilt", "shim") == "Shims and tilt: no two doses were changed often enough yet"
    assert dose_name(dose("stance", -4, None, 1)) == "−4\u202fmm"
    assert "3 shims: not enough yet, 6 changes" in alternative(SHIMS, "tilt", "shim")


def test_a_direction_shows_what_was_measured_what_noise_would_do_and_the_rest() -> None:
    unclear, line, net, change, expected = neutral.neutral_chart(NEUTRAL, "light")["data"]
    assert net["x"] == [-0.94, 0.08]
    assert (line["x"], unclear["x"]) == ([-1.0, -0.88, None, 0.04, 0.13, None], [])
    assert change["x"] == [-1.09, 0.4]
    assert expected["x"] == [-0.15, 0.32]
    assert len({net["marker"]["symbol"], change["marker"]["symbol"], expected["marker"]["symbol"]}) == 3


def test_the_title_by_direction_says_who_came_nearer_by_more_than_noise() -> None:
    assert neutral.finding(NEUTRAL) == (
        "Beyond the noise, knees that came inward left nearer to neutral; knees that came near neutral left further from it"
    )
    assert neutral.finding(NEUTRAL[2:]) == "Not enough knees yet to say"
    by_chance = [replace(NEUTRAL[0], q_value=0.05), NEUTRAL[1]]
    assert neutral.finding(by_chance) == "Beyond the noise, knees that came near neutral left further from it"
    assert "4 knees" in neutral.alternative(NEUTRAL)


def test_a_disagreement_is_what_the_answer_calls_one() -> None:
    row = in_order(made_effects().effects, "tilt")[0]
    assert not estimates_differ(row)
    assert estimates_differ(replace(row, words="The two estimates differ by more than their noise (pooled 0.1°)."))

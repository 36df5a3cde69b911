"""The timeline draws every capture of both knees, the typical error round them, and each change by its number."""

from dataclasses import replace
from datetime import date
from typing import Any

import plotly.graph_objects as go
import pytest

from dashboard.figures.timeline import alternative, change_numbers, finding, timeline_figure
from dashboard.questions.data.answers_noise import NoiseRow
from dashboard.questions.riders.answers_riders import CaptureRow, FitRow, RiderRow, RiderTimeline

DAYS = {"S1": date(2026, 4, 1), "S2": date(2026, 4, 20)}


def capture(place: int, session: str, no: int, side: str, tilt: float | None, *, changed: bool = False) -> CaptureRow:
    return CaptureRow(
        place=place,
        session_id=session,
        session_date=DAYS[session],
        capture_no=no,
        side=side,
        knee_tilt_deg=tilt,
        knee_sway_mm=20.0 + place,
        knee_offset_mm=None,
        insole_level="low",
        shims_added=0,
        shims_built_in=0,
        shim_place=None,
        stance_mm=0.0,
        stance_by=None,
        foot_room_ok=None,
        setup="low insole; no shim",
        is_repeat=False,
        is_changed=changed,
        cadence_rpm=None,
        power_w=None,
        captured_at=None,
        words="low insole instead of none" if changed else "nothing changed",
    )


CAPTURES = (
    capture(1, "S1", 1, "left", -5.0),
    capture(1, "S1", 1, "right", 1.0),
    capture(2, "S1", 2, "left", -2.0, changed=True),
    capture(2, "S1", 2, "right", 1.0, changed=True),
    capture(3, "S2", 1, "left", -2.2),
    capture(3, "S2", 1, "right", None),
)
NOISE = tuple(
    NoiseRow(outcome, unit, 40, 30, error, error / 2, error * 2, 2.77 * error, 0.0, -1, 1, -1, 1, "")
    for outcome, unit, error in (("tilt", "deg", 0.5), ("sway", "mm", 1.0))
)
RIDER = RiderRow(
    "R1",
    "q",
    2,
    DAYS["S1"],
    DAYS["S2"],
    DAYS["S2"],
    "waiting",
    -2.2,
    None,
    None,
    "none",
    None,
    0,
    0,
    "",
    "Nothing that asks for a look.",
)


def fit(session: str) -> FitRow:
    return FitRow(
        session,
        DAYS[session],
        "first",
        1,
        "q",
        "F1",
        None,
        2,
        None,
        None,
        None,
        None,
        None,
        None,
        "",
        told=f"Told of {session}.",
    )


ANSWER = RiderTimeline(
    as_of=DAYS["S2"],
    selection={},
    selection_words="2 fits",
    method={},
    n_fits=2,
    n_riders=1,
    headline="",
    told_id="S2",
    rider=RIDER,
    riding=None,
    captures=CAPTURES,
    fits=(fit("S1"), fit("S2")),
    knees=(),
    exams=(),
    ratings=(),
    bike=(),
    follow_ups=(),
    look_at=(),
    noise=NOISE,
)


def lines(answer: RiderTimeline) -> list[dict[str, Any]]:
    return [trace for trace in timeline_figure(answer, "S2", "light")["data"] if trace["mode"] == "lines+markers"]


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("answer", [ANSWER, replace(ANSWER, noise=()), replace(ANSWER, captures=())])
def test_plotly_accepts_the_figure(answer: RiderTimeline, theme: str) -> None:
    figure = timeline_figure(answer, "S1", theme)
    assert go.Figure(figure).layout.height == figure["layout"]["height"]


def test_each_knee_is_a_line_that_breaks_between_fits() -> None:
    tilt_left, tilt_right, sway_left, _ = lines(ANSWER)
    assert tilt_left["y"] == [-5.0, -2.0, None, -2.2, None]
    assert tilt_right["y"] == [1.0, 1.0, None]
    assert sway_left["y"] == [21.0, 22.0, None, 23.0, None]
    assert tilt_left["marker"]["symbol"] != tilt_right["marker"]["symbol"]
    assert tilt_left["line"]["dash"] != tilt_right["line"]["dash"]
    assert tilt_left["x"][3] - tilt_left["x"][1] > tilt_left["x"][1] - tilt_left["x"][0]


def test_the_band_is_one_typical_error_to_either_side_and_absent_where_it_is_not_known() -> None:
    band = timeline_figure(ANSWER, "S2", "light")["data"][0]
    first_fit = band["y"][: band["y"].index(None)]
    assert (min(first_fit), max(first_fit)) == (-5.0 - 0.5, -2.0 + 0.5)
    assert all(trace["mode"] != "lines" for trace in timeline_figure(replace(ANSWER, noise=()), "S2", "light")["data"])


def test_changes_are_numbered_in_order_in_the_row_of_their_foot() -> None:
    assert change_numbers(CAPTURES) == {(2, "left"): 1, (2, "right"): 2}
    figure = timeline_figure(ANSWER, "S2", "light")
    changes = figure["data"][-1]
    rows = dict(zip(figure["layout"]["yaxis3"]["tickvals"], figure["layout"]["yaxis3"]["ticktext"], strict=True))
    assert [(text, rows[y]) for text, y in zip(changes["text"], changes["y"], strict=True)] == [("1", "left"), ("2", "right")]


def test_everything_drawn_lies_in_its_panel_and_so_does_neutral() -> None:
    figure = timeline_figure(ANSWER, "S2", "light")
    for axis, name in (("yaxis", "y"), ("yaxis2", "y2")):
        low, high = figure["layout"][axis]["range"]
        drawn = [y for trace in figure["data"] if trace["yaxis"] == name for y in trace["y"] if y is not None]
        assert low < min(drawn) and max(drawn) < high
    assert figure["layout"]["yaxis"]["range"][0] < 0 < figure["layout"]["yaxis"]["range"][1]


def test_a_panel_alone_stands_without_sway_and_without_the_rows_of_changes() -> None:
    figure = timeline_figure(ANSWER, "S2", "light", panels=("tilt",))
    assert {trace["yaxis"] for trace in figure["data"]} == {"y"}
    assert "yaxis2" not in figure["layout"] and "yaxis3" not in figure["layout"]
    assert figure["layout"]["yaxis"]["domain"] == [0, 1]
    assert figure["layout"]["height"] < timeline_figure(ANSWER, "S2", "light")["layout"]["height"] / 2
    go.Figure(figure)


def test_the_chosen_fit_stands_out_and_every_fit_has_its_day() -> None:
    figure = timeline_figure(ANSWER, "S2", "light")
    first, second = figure["layout"]["shapes"]
    assert first["fillcolor"] != second["fillcolor"]
    texts = [note["text"] for note in figure["layout"]["annotations"]]
    assert "1 Apr<br>2026" in texts and "<b>20 Apr<br>2026</b>" in texts


def test_title_and_words_of_the_timeline() -> None:
    assert finding(ANSWER) == "3 captures in 2 fits, 2 changes of a foot's setup"
    assert alternative(ANSWER, ("tilt", "sway")) == (
        "Timeline of tilt and sway of both knees, capture after capture. Told of S1. Told of S2."
    )

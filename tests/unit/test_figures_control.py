"""The control charts draw the numbers of their answer; plotly's own validator accepts them."""

from dataclasses import replace
from datetime import date
from typing import Any

import plotly.graph_objects as go
import pytest

from dashboard.figures.control import (
    MOVED,
    Window,
    alternative,
    control_chart,
    finding,
    letters,
    of_figure,
)
from dashboard.figures.names import FIGURES
from dashboard.figures.scales import apart, share_ticks
from dashboard.questions.selection.spans import Span
from dashboard.questions.studio.trends_news import news
from tests.unit.made_trends import MONTHS, made_goal, made_trends

TRENDS = made_trends()
OPEN = Window(None, None)


def drawn(figure: str, window: Window = OPEN) -> dict[str, Any]:
    return control_chart(TRENDS, figure, window, "light")


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("figure", list(FIGURES))
def test_plotly_accepts_every_chart(figure: str, theme: str) -> None:
    for answer in (TRENDS, replace(TRENDS, trend=(), signals=(), notes=())):
        made = control_chart(answer, figure, Window(date(2026, 1, 1), None), theme)
        assert go.Figure(made).layout.height == made["layout"]["height"]


def test_lines_are_centre_limits_and_figure_and_a_gap_stays_a_gap() -> None:
    rows = of_figure(TRENDS, "knees_better")[1]
    centre, low, high, line = drawn("knees_better")["data"][:4]
    assert centre["y"] == [row.centre for row in rows]
    assert low["y"] == [row.limit_low for row in rows]
    assert high["y"] == [row.limit_high for row in rows]
    assert line["y"] == [row.estimate for row in rows]
    assert line["y"][8] is None
    assert not line["connectgaps"]


def test_every_period_with_a_figure_has_one_mark_whose_shape_tells_what_it_is() -> None:
    rows = of_figure(TRENDS, "knees_better")[1]
    plain, running, few, moved = drawn("knees_better")["data"][4:]
    assert plain["marker"]["symbol"] == "circle"
    assert few["x"] == [MONTHS[9].isoformat()]
    assert few["marker"]["symbol"] == "circle-open"
    marked = sorted(x for trace in (plain, running, moved) for x in trace["x"])
    assert marked == [row.period.isoformat() for row in rows if row.estimate is not None]
    assert moved["x"] == [MONTHS[13].isoformat(), MONTHS[14].isoformat()]
    # The last month is not over yet: its shape is hollow.
    assert moved["marker"]["symbol"] == ["diamond", "diamond-open"]


def test_a_move_does_not_rest_on_colour() -> None:
    plain, _, _, moved = drawn("side_difference_left")["data"][4:]
    assert moved["x"] == [month.isoformat() for month in MONTHS[11:]]
    assert set(moved["marker"]["symbol"]) == {MOVED, f"{MOVED}-open"}
    assert plain["marker"]["symbol"] != MOVED
    assert moved["marker"]["color"] != plain["marker"]["color"]


def test_limits_are_labelled_with_their_values() -> None:
    texts = [note["text"] for note in drawn("knees_better")["layout"]["annotations"]]
    assert texts[:3] == ["upper 76\u202f%", "centre 63\u202f%", "lower 51\u202f%"]
    assert "base" in texts


def test_a_dated_note_is_a_thin_line_with_its_letter() -> None:
    shown = drawn("comfort_gained")["layout"]
    assert [shape["x0"] for shape in shown["shapes"] if shape["type"] == "line"] == ["2025-11-03"]
    assert "<b>A</b>" in [note["text"] for note in shown["annotations"]]
    assert [letter for letter, _ in letters(TRENDS.notes)] == ["A"]


def test_the_base_and_the_chosen_dates_are_marked_and_stay_within_the_chart() -> None:
    assert len([shape for shape in drawn("knees_better")["layout"]["shapes"] if shape["type"] == "rect"]) == 1
    shown = drawn("knees_better", Window(date(2026, 1, 1), None))["layout"]
    base, chosen = [shape for shape in shown["shapes"] if shape["type"] == "rect"]
    assert base["x0"] < MONTHS[0].isoformat()
    assert base["x1"] > MONTHS[5].isoformat()
    assert chosen["x0"] < "2026-01-01" < chosen["x1"]
    assert chosen["x1"] <= shown["xaxis"]["range"][1]


def test_titles_say_the_finding() -> None:
    chart, _, signals = of_figure(TRENDS, "knees_better")
    assert finding(chart, signals, "month", is_news=True) == "Knees better at departure: better from about May 2026 on"
    assert finding(chart, signals, "month", is_news=False) == (
        "Knees better at departure: nothing new (better since about May 2026)"
    )
    assert finding(chart, [], "month", is_news=False) == "Knees better at departure: within its usual scatter"
    assert finding(replace(chart, centre=None), [], "month", is_news=False) == "Knees better at departure: no limits yet"


def test_fewer_side_differences_are_told_as_better() -> None:
    chart, _, signals = of_figure(TRENDS, "side_difference_left")
    assert signals[0].direction == "lower"
    assert finding(chart, signals, "month", is_news=True).endswith("left: better from about March 2026 on")


def test_a_move_is_news_of_the_dates_that_it_began_in_or_next_to() -> None:
    """Knees moved in May 2026, side differences in March."""

    def told(first: date, last: date) -> set[str]:
        return {row.figure for row in news(TRENDS, Span(first, last))}

    assert told(date(2026, 5, 1), date(2026, 5, 31)) == {"knees_better"}
    assert told(date(2026, 6, 1), date(2026, 6, 30)) == {"knees_better"}  # the month right before
    assert told(date(2026, 7, 1), date(2026, 7, 31)) == set()
    assert told(date(2026, 4, 1), date(2026, 4, 30)) == {"knees_better", "side_difference_left"}  # right after, and before
    assert told(date(2025, 4, 1), date(2025, 9, 30)) == set()  # the base
    assert told(date(2026, 1, 1), date(2026, 8, 31)) == {"knees_better", "side_difference_left"}


def test_the_chart_in_words_tells_the_latest_month_its_limits_and_the_signals() -> None:
    chart, rows, signals = of_figure(TRENDS, "knees_better")
    words = alternative(chart, rows, signals, "month")
    assert "Latest, June 2026: 75\u202f%, limits 51 to 76\u202f%" in words
    assert words.count("a made sentence") == 1
    assert "not enough yet in any month" in alternative(chart, [], [], "month")


def test_ticks_of_a_share_reach_over_the_highest() -> None:
    assert share_ticks(0.21) == pytest.approx([0, 0.1, 0.2, 0.3])
    assert share_ticks(0.76) == [0, 0.25, 0.5, 0.75, 1]
    assert share_ticks(0) == [0, 0.1]


def test_labels_keep_apart_and_near_their_values() -> None:
    assert apart([3.0, 2.0, 1.0], 0.5) == [3.0, 2.0, 1.0]
    places = apart([1.0, 0.95, 0.9], 0.5)
    assert places == pytest.approx([1.45, 0.95, 0.45])
    assert apart([], 1.0) == []


def test_a_goal_is_a_line_of_steps_from_its_day_on_with_its_value_and_its_verdict_in_words() -> None:
    """No goal in the first three months, 60 % in the next five, 70 % from then on."""
    goals = [None] * 3 + [0.6] * 5 + [0.7] * 7
    rows = [row for row in TRENDS.trend if row.figure == "knees_better"]
    answer = replace(TRENDS, trend=tuple(replace(row, goal=goal) for row, goal in zip(rows, goals, strict=True)))
    made = control_chart(answer, "knees_better", OPEN, "light")
    steps = made["data"][-1]
    assert steps["y"] == goals and steps["line"]["shape"] == "hvh" and not steps["connectgaps"]
    assert "goal 70\u202f%" in [one["text"] for one in made["layout"]["annotations"]]
    high = replace(answer, trend=tuple(replace(row, goal=0.98) for row in answer.trend))
    assert control_chart(high, "knees_better", OPEN, "light")["layout"]["yaxis"]["range"][1] > 0.98
    goal = made_goal("knees_better", 0.7, "misses it")
    chart, of_rows, signals = of_figure(answer, "knees_better")
    assert alternative(chart, of_rows, signals, "month", goal).endswith("knees_better: a made sentence on this goal.")


def test_a_chart_without_a_goal_has_no_such_line() -> None:
    assert not [trace for trace in drawn("knees_better")["data"] if trace.get("line", {}).get("dash") == "longdash"]

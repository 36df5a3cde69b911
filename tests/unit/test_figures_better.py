"""Rows of differences: right is better whatever the figure, one axis for shares and for points of ten."""

from typing import Any

import plotly.graph_objects as go
import pytest

from dashboard.figures.better import alternative, periods_figure, studios_figure
from dashboard.questions.studio.answers_studios import BetweenStudiosRow, Studios
from tests.unit.made_answers import SHARED
from tests.unit.made_periods import made_periods
from tests.unit.made_trends import made_goal

PERIODS = made_periods()


def texts(figure: dict[str, Any], position: str) -> list[str]:
    return [text for trace in figure["data"] if trace.get("textposition") == position for text in trace["text"]]


def dots(figure: dict[str, Any], symbol: str) -> list[float]:
    [found] = [trace for trace in figure["data"] if trace.get("marker", {}).get("symbol") == symbol]
    return list(found["x"])


def test_right_is_better_in_points_of_a_hundred_and_tenths_of_a_point() -> None:
    """Comfort 0.4 points of ten more: 4 to the right; side differences 20 points more, which is worse: 20 to the left."""
    figure = periods_figure(PERIODS, {}, "light")
    assert dots(figure, "circle") == pytest.approx([4, -20, 5])
    assert dots(figure, "diamond") == pytest.approx([4, -20, 5])
    [bars] = [trace for trace in figure["data"] if trace["mode"] == "lines" and trace["line"]["width"] == 4]
    assert bars["x"] == pytest.approx([1, 7, None, -35, -5, None, -10, 20, None], nan_ok=True)
    go.Figure(figure)


def test_each_row_says_what_it_is_and_what_may_be_said() -> None:
    figure = periods_figure(PERIODS, {}, "light")
    assert texts(figure, "middle right") == [
        "<b>Comfort gained</b>  1.8\u202fpoints",
        "<b>Fits with a side difference left</b>  40\u202f%",
        "<b>Fits seen again in time</b>  60\u202f%",
        "<b>Knees better at departure</b>  12\u202f%",
    ]
    verdicts, printed = texts(figure, "middle left")[:4], texts(figure, "middle left")[4:]
    assert verdicts == ["<b>better</b>", "<b>worse</b>", "<b>no clear change</b>", "<b>not enough yet</b>"]
    assert printed == [
        "0.4 (0.1 to 0.7)",
        "better",
        "20 (5 to 35)",
        "worse",
        "5 (−10 to 20)",
        "no clear change",
        "not enough yet",
        "not enough yet",
    ]


def test_a_goal_stands_where_it_would_be_reached() -> None:
    """Seen again in 55 % in May: 80 % would be 25 points better. Side differences in 20 %: 10 % is 10 to the right."""
    goals = {
        "return_rate": made_goal("return_rate", 0.8, "misses it"),
        "side_difference_left": made_goal("side_difference_left", 0.1, "by chance now and then"),
    }
    figure = periods_figure(PERIODS, goals, "light")
    assert dots(figure, "line-ns-open") == pytest.approx([10, 25])
    assert "<b>Fits seen again in time</b>  60\u202f%, goal 80\u202f%: misses it" in texts(figure, "middle right")


def test_studios_are_drawn_as_one_less_the_other() -> None:
    row = BetweenStudiosRow(
        "side_difference_left", "north", "south", "share", 60, 50, -0.12, -0.2, -0.04, "a made sentence.", judged="better"
    )
    answer = Studios(**SHARED, n_fits=110, n_riders=100, headline="", figures=(), differences=(row,))
    figure = studios_figure(answer, "dark")
    assert dots(figure, "circle") == pytest.approx([12])
    assert texts(figure, "middle left") == ["<b>better</b>", "−12 (−20 to −4)"]
    assert alternative(answer.differences) == "a made sentence."
    go.Figure(figure)

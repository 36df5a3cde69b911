"""The picture of a rig: its dots, the line at the day from which it measures otherwise, and its words."""

from dataclasses import replace
from datetime import date

import plotly.graph_objects as go
import pytest

from dashboard.figures.rig import alternative, dated, rig_figure, title
from shared.rig.findings import A_MONTH
from tests.unit.made_rig import WORDS, made_rig

ANSWER = made_rig()
NORTH, SOUTH = ([row for row in ANSWER.months if row.studio == studio] for studio in ("north", "south"))


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_plotly_takes_it(theme: str) -> None:
    go.Figure(rig_figure(NORTH, ANSWER.findings, theme))


def test_dots_are_the_months_with_a_figure_and_the_line_stands_at_the_day() -> None:
    figure = rig_figure(NORTH, ANSWER.findings, None)
    both, apart = figure["data"]
    assert both["y"] == pytest.approx([-0.4, -0.4, 0.4])
    assert apart["y"] == pytest.approx([0.1, 0.1, 0.1])
    assert both["error_y"]["array"] == pytest.approx([0.6, 0.6, 0.6])
    assert [day[:7] for day in both["x"]] == ["2026-03", "2026-04", "2026-05"]
    assert set(both["x"]).isdisjoint(apart["x"])
    marks = [shape for shape in figure["layout"]["shapes"] if shape["xref"] == "x"]
    assert [mark["x0"] for mark in marks] == ["2026-05-03"]
    assert [letter["text"] for letter in figure["layout"]["annotations"]] == ["A"]


def test_what_has_no_first_day_gets_no_line() -> None:
    slope = replace(ANSWER.findings[0], kind="slope", unit=f"deg{A_MONTH}")
    always = replace(ANSWER.findings[0], kind="side", since=None, since_low=None, since_high=None)
    assert dated([slope, always]) == []
    assert len(rig_figure(NORTH, [slope, always], None)["layout"]["shapes"]) == 1


def test_titles_and_words() -> None:
    assert title("north", NORTH, ANSWER.findings) == "north: arrivals stand 0.8° further out since 3 May 2026"
    assert title("south", SOUTH, []) == "south: no change seen"
    earlier = replace(ANSWER.findings[0], kind="exchange", estimate=0.2, unit="share", since=date(2026, 3, 1))
    assert title("north", NORTH, [earlier, *ANSWER.findings]) == (
        "north: left and right exchanged in some captures since 1 Mar 2026, and 1 more"
    )
    assert [letter for letter, _ in dated([*ANSWER.findings, earlier])] == ["A", "B"]
    assert [finding.kind for _, finding in dated([*ANSWER.findings, earlier])] == ["exchange", "step"]
    told = alternative("north", NORTH, ANSWER.findings)
    assert told == f"Mean tilt at arrival at north in 3 months, from −0.4° in March 2026 to 0.4° in May 2026. {WORDS}"
    assert alternative("south", SOUTH, []).endswith("Nothing was found of the rig.")


def test_too_few_in_every_month_is_said() -> None:
    few = [replace(row, estimate=None, low=None, high=None) for row in NORTH]
    assert title("north", few, []) == "north: not enough yet"
    assert "not enough yet in any month" in str(rig_figure(few, [], None))
    assert alternative("north", few, []) == "Tilt at arrival at north: not enough yet in any month."

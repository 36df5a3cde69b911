"""The pictures of the Symmetry page draw the numbers of the answers and nothing else; plotly's own validator accepts them."""

import math
from dataclasses import replace
from typing import Any

import plotly.graph_objects as go
import pytest

from dashboard.figures import symmetry, symmetry_curve, symmetry_flow, symmetry_sides
from dashboard.figures.dot_rows import DotRow, Mark, dot_rows
from dashboard.figures.symmetry_panels import panel_alternative, panel_figure, panel_finding, panels
from dashboard.figures.theme import PALETTES, on_paper
from dashboard.pages.symmetry.patterns import flow_grid, flow_title
from dashboard.pages.symmetry.tables import level_rows, side_rows
from dashboard.questions.symmetry.answers_asymmetry import ChangeRow, CurveRow, FlowRow, PrevalenceRow
from dashboard.questions.symmetry.answers_sides import SidesRow

NOTHING = (None,) * 4
ALL = (None, None)
LOW = ("arch_height", "low")
FEW = ("arch_height", "high")


def prevalence(moment: str, at: tuple[str | None, str | None], n: int, share: float | None) -> PrevalenceRow:
    ends = (None, None, None) if share is None else (share, share - 0.08, share + 0.09)
    beyond = round(n * (share or 0))
    return PrevalenceRow("tilt", "deg", 2.0, moment, *at, n, beyond, *ends, *NOTHING, "Words.")


PREVALENCE = (
    prevalence("arrival", ALL, 400, 0.44),
    prevalence("arrival", LOW, 90, 0.5),
    prevalence("arrival", FEW, 4, None),
    prevalence("departure", ALL, 396, 0.3),
    prevalence("departure", LOW, 88, 0.36),
    prevalence("departure", FEW, 4, None),
)
CHANGE = ChangeRow("side difference in tilt", *ALL, 380, 80, 90, 25, 185, 0.45, 0.3, -0.14, -0.18, -0.1, 1e-7, 1e-6, "Words.")
CURVE = tuple(
    CurveRow("tilt", "deg", moment, limit, limit == 2.0, 400, share, share - 0.03, share + 0.03)
    for moment, start in (("arrival", 0.8), ("departure", 0.6))
    for limit in (1.0, 2.0, 4.0)
    for share in (start / limit,)
)
SIDES = (
    SidesRow("tilt", "deg", "arrival", 0.0, 1.5, -1.5, True, 1),
    SidesRow("tilt", "deg", "arrival", 0.0, 1.0, 2.0, False, 1),
    SidesRow("tilt", "deg", "departure", 0.0, -3.0, 4.5, True, 1),
    SidesRow("offset", "mm", "departure", 0.0, 90.0, 4.5, True, 1),
)
FLOW = tuple(
    FlowRow(before, after, n)
    for before, counts in (("opposed", (3, 0)), ("neutral", (2, 95)))
    for after, n in zip(("opposed", "neutral"), counts, strict=True)
)


def every_figure(theme: str) -> list[dict[str, Any]]:
    return [
        *(panel_figure(panel, rows, theme) for rows in (PREVALENCE, ()) for panel in panels(rows, "tilt")),
        symmetry_flow.flow_figure(CHANGE, theme),
        symmetry_flow.flow_figure(replace(CHANGE, n_resolved=0, n_persisting=0, n_new=0, n_none=0), theme),
        *(symmetry_sides.sides_figure(SIDES, "tilt", moment, 2.0, theme) for moment in ("arrival", "departure")),
        symmetry_sides.sides_figure((), "offset", "arrival", 15.0, theme),
        symmetry_curve.curve_figure(CURVE, "tilt", theme),
        symmetry_curve.curve_figure((), "offset", theme),
        dot_rows((), theme, of="knees"),
    ]


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_plotly_accepts_every_figure(theme: str) -> None:
    for figure in every_figure(theme):
        assert go.Figure(figure).layout.height == figure["layout"]["height"]


def test_on_paper_no_colour_of_the_dark_screen_is_left() -> None:
    """Each colour that a figure names is one that printing knows to replace."""
    known = set(on_paper("dark")) | {"rgba(0,0,0,0)"}

    def colours(part: Any) -> set[str]:
        if isinstance(part, dict):
            return set().union(*(colours(value) for value in part.values())) if part else set()
        if isinstance(part, list):
            return set().union(*(colours(value) for value in part)) if part else set()
        return {part} if isinstance(part, str) and (part.startswith(("#", "rgb")) or "color:#" in part) else set()

    for figure in every_figure("dark"):
        meta = figure["layout"].pop("meta")
        assert colours(figure) <= known | set(meta["on_paper"])


def test_each_level_has_a_dot_at_both_moments_and_the_whole_comes_first() -> None:
    [panel] = panels(PREVALENCE, "tilt")
    assert [name for name, _ in panel.levels] == ["All riders", "Low", "High"]
    figure = panel_figure(panel, PREVALENCE, "light")
    arrival, departure = figure["data"]
    assert (arrival["x"], departure["x"]) == ([0.44, 0.5], [0.3, 0.36])
    assert all(above < below < above + 1 for above, below in zip(arrival["y"], departure["y"], strict=True))
    assert arrival["marker"]["symbol"] != departure["marker"]["symbol"]
    assert figure["layout"]["yaxis"]["ticktext"] == ["All riders", "Low", "High"]
    printed = [note["text"] for note in figure["layout"]["annotations"]]
    assert printed == ["44 → <b>30</b>\u202f%", "50 → <b>36</b>\u202f%", "too few yet"]


def test_intervals_are_those_of_the_answer() -> None:
    [panel] = panels(PREVALENCE, "tilt")
    bars = panel_figure(panel, PREVALENCE, "light")["data"][0]["error_x"]
    assert bars["arrayminus"] == pytest.approx([0.08, 0.08])
    assert bars["array"] == pytest.approx([0.09, 0.09])


def of_types(*levels: str) -> list[PrevalenceRow]:
    shares = (("arrival", 0.4), ("departure", 0.2))
    return [prevalence(moment, ("split", level), 50, share) for level in levels for moment, share in shares]


def test_foot_types_stand_by_their_arch_and_other_splits_in_equal_parts() -> None:
    forefeet = ("valgus", "neutral", "mild_varus", "marked_varus")
    types = of_types(*(f"{arch} arch, {forefoot}" for arch in ("low", "high") for forefoot in forefeet))
    found = panels([*PREVALENCE[:1], *PREVALENCE[3:4], *types], "tilt")
    assert [(panel.of, [name for name, _ in panel.levels]) for panel in found] == [
        (f"{arch} arch", ["valgus", "neutral", "mild varus", "marked varus"]) for arch in ("low", "high")
    ]
    months = panels(of_types(*(f"{month:02}" for month in range(1, 9))), "tilt")
    assert [(panel.of, len(panel.levels)) for panel in months] == [(None, 3), (None, 3), (None, 2)]
    assert panels((), "tilt")[0].levels == ()


def test_panels_share_one_scale() -> None:
    low, high = panels(of_types(*(f"{arch} arch, {n}" for arch in ("low", "high") for n in range(4))), "tilt")
    rows = [*of_types("a"), replace(PREVALENCE[0], high=0.83)]
    ends = [panel_figure(panel, rows, "light")["layout"]["xaxis"]["range"][1] for panel in (low, high)]
    assert ends == [pytest.approx(1.02 * 0.9)] * 2


def test_the_title_of_a_panel_spans_its_shares() -> None:
    [panel] = panels(PREVALENCE, "tilt")
    assert panel_finding(panel) == "30 to 36\u202f% left with one"
    assert panel_finding(replace(panel, of="low arch")) == "Low arch: 30 to 36\u202f% left with one"
    assert panel_finding(replace(panel, of="low arch", levels=panel.levels[2:])) == "Low arch: not enough yet"
    assert symmetry.limit_words(replace(PREVALENCE[0], quantity="offset", unit="mm", limit=12.5)) == "more than 12.5\u202fmm"
    assert "Low: 50\u202f%, interval 42 to 59\u202f% at arrival" in panel_alternative(panel, "tilt")
    assert "High: not enough yet at arrival" in panel_alternative(panel, "tilt")


def test_the_table_puts_both_moments_side_by_side() -> None:
    whole, low, few = level_rows(PREVALENCE, "tilt")
    assert (whole.share_arrival, whole.share_departure, whole.n_riders_departure) == (0.44, 0.3, 396)
    assert (low.level, low.low_arrival, low.high_departure) == ("low", 0.5 - 0.08, 0.36 + 0.09)
    assert few.share_arrival is None


def test_the_bars_are_the_four_counts_and_the_two_that_differ_are_full() -> None:
    bars = symmetry_flow.flow_figure(CHANGE, "light")["data"][0]
    assert dict(zip(symmetry_flow.FATES, bars["x"], strict=True)) == {"resolved": 80, "new": 25, "persisting": 90, "none": 185}
    assert bars["marker"]["color"] == [PALETTES["light"].accent] * 2 + [PALETTES["light"].soft] * 2
    assert symmetry_flow.finding(CHANGE) == "80 resolved, 25 new, of 380 riders recorded at both ends"
    nobody = replace(CHANGE, n_riders=0, n_resolved=0, n_new=0)
    assert symmetry_flow.finding(nobody) == "No rider was recorded at both ends yet"
    assert "Persisting (at both ends): 90" in symmetry_flow.alternative(CHANGE)


def test_marks_beyond_the_limit_differ_in_shape_and_both_moments_share_their_axes() -> None:
    arrival, departure = (
        symmetry_sides.sides_figure(SIDES, "tilt", moment, 2.0, "light") for moment in ("arrival", "departure")
    )
    within, beyond = arrival["data"]
    assert (within["x"], within["y"]) == ([1.0], [2.0])
    assert (beyond["x"], beyond["y"]) == ([1.5], [-1.5])
    assert within["marker"]["symbol"] != beyond["marker"]["symbol"]
    assert arrival["layout"]["xaxis"]["range"] == departure["layout"]["yaxis"]["range"]
    low, high = arrival["layout"]["xaxis"]["range"]
    assert low < -4.5 and high > 4.5 and high < 90


def test_the_limits_are_two_parallel_lines_from_edge_to_edge() -> None:
    figure = symmetry_sides.sides_figure(SIDES, "tilt", "arrival", 2.0, "light")
    _, reach = figure["layout"]["xaxis"]["range"]
    lines = [shape for shape in figure["layout"]["shapes"] if shape["type"] == "line"]
    assert [line["y0"] - line["x0"] for line in lines] == pytest.approx([2.0, -2.0])
    assert [line["y1"] - line["x1"] for line in lines] == pytest.approx([2.0, -2.0])
    for line in lines:
        ends = (line["x0"], line["y0"], line["x1"], line["y1"])
        assert max(map(abs, ends)) == pytest.approx(reach)


def test_the_area_of_a_cell_tells_its_riders() -> None:
    cells = [replace(SIDES[0], cell_size=0.5, n_riders=n) for n in (25, 100)]
    small, large = symmetry_sides.sides_figure(cells, "tilt", "arrival", 2.0, "light")["data"][1]["marker"]["size"]
    assert large / small == pytest.approx(math.sqrt(100 / 25))


def test_the_scatter_in_words_counts_both_sides() -> None:
    assert symmetry_sides.finding(SIDES, "tilt", "arrival") == "At arrival: 1 of 2 riders beyond the limit"
    words = symmetry_sides.alternative(SIDES, "tilt", "arrival", 2.0)
    assert "in 0 the right knee is further out, in 1 the left one" in words


def test_left_against_right_is_told_in_a_table_too() -> None:
    rows = [(row.arrival, row.departure) for row in side_rows(SIDES, "tilt")]
    assert rows == [(0, 1), (1, 0), (1, 0)]
    assert [(row.arrival, row.departure) for row in side_rows(SIDES, "offset")] == [(0, 0), (0, 1), (0, 0)]


def test_curves_differ_by_dash_and_are_named_at_the_set_limit() -> None:
    figure = symmetry_curve.curve_figure(CURVE, "tilt", "light")
    _, arrival, _, _, departure, _ = figure["data"]
    assert arrival["y"] == [0.8, 0.4, 0.2]
    assert departure["y"] == pytest.approx([0.6, 0.3, 0.15])
    assert arrival["line"]["dash"] != departure["line"]["dash"]
    words = [note["text"] for note in figure["layout"]["annotations"]]
    assert "<b>arrival 40\u202f%</b>" in words and "<b>departure<br>30\u202f%</b>" in words
    assert symmetry_curve.finding(CURVE, "tilt") == (
        "At arrival, 40\u202f% at the limit of 2°, against 80\u202f% at 1° and 20\u202f% at 4°"
    )
    assert symmetry_curve.finding((), "tilt").endswith("not enough yet")


def test_the_grid_of_patterns_holds_every_count_and_its_sums() -> None:
    assert flow_title(FLOW) == "98 of 100 riders left with the pattern they came with; 0 others left neutral"
    assert "no rider" in flow_title([replace(row, n_riders=0) for row in FLOW])
    head, body, foot = flow_grid(FLOW).children[0].children.children[1:]
    rows = [[cell.children for cell in row.children] for row in body.children]
    assert rows == [["Opposed", "3", "0", "3"], ["Neutral", "2", "95", "97"]]
    assert [cell.children for cell in foot.children.children] == ["At departure", "5", "95", "100"]
    shades = [cell.className.split()[1] for row in body.children for cell in row.children[1:3]]
    assert shades == ["shade-1", "shade-0", "shade-1", "shade-5"]
    assert [cell.children for cell in head.children.children] == ["At arrival", "opposed", "neutral", "all"]


def test_bounds_are_drawn_thinner_than_the_interval() -> None:
    mark = Mark(0.9, 0.85, 0.93, "hover", ends=(0.4, 0.95))
    drawn = dot_rows([DotRow("Tilt held", "8 of 9", "90 %", (mark,))], "light", of="knees")
    bounds, ticks, _, interval, _, dot = drawn["data"][-6:]
    assert bounds["x"] == [0.4, 0.95, None] and ticks["x"] == [0.4, 0.95]
    assert interval["x"] == [0.85, 0.93, None] and dot["x"] == [0.9]
    assert bounds["line"]["width"] < interval["line"]["width"]

"""Charts of told intervals: what is drawn is the rows' own, a claim is told in words, an empty row says what it lacks."""

from dataclasses import replace
from typing import Any

import plotly.graph_objects as go
import pytest

from dashboard.figures.effects import estimates_panel, finding, in_order, row_name, told_panel, told_row, told_words
from dashboard.figures.levels import MOST_ROWS, levels_chart, told_once
from dashboard.figures.names import SUPPORTS
from dashboard.figures.nearer import ARRIVALS, alternative, nearer_panel, of_arrival
from dashboard.figures.nearer import finding as nearer_finding
from dashboard.questions.effects.nearer import rows_by_arrival
from dashboard.questions.models.answers_models import EffectRow
from tests.unit.made_answers import made_effects
from tests.unit.made_effects import FAMILIES

EFFECTS = made_effects("foot_type").effects
NEARER = rows_by_arrival(EFFECTS)


def empty(row: EffectRow) -> str:
    return f"{row.n_changes} changes only"


def every_figure(theme: str) -> list[dict[str, Any]]:
    told = told_once(EFFECTS, FAMILIES, "tilt", "foot_type")
    return [
        *(told_panel(EFFECTS, outcome, empty, theme) for outcome in ("tilt", "sway", "offset")),
        told_panel((), "tilt", empty, theme),
        *(nearer_panel(NEARER, arrival, empty, theme) for arrival in ARRIVALS),
        estimates_panel([row for row in NEARER if row.pooled is not None], "off_neutral", theme),
        estimates_panel((), "tilt", theme),
        levels_chart(told, "tilt", empty, theme),
    ]


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_plotly_accepts_every_figure(theme: str) -> None:
    for figure in every_figure(theme):
        assert go.Figure(figure).layout.height == figure["layout"]["height"]


def test_everything_drawn_lies_in_the_range_and_so_does_zero() -> None:
    for figure in every_figure("light"):
        low, high = figure["layout"]["xaxis"]["range"]
        drawn = [x for trace in figure["data"] if trace["mode"] == "lines" for x in trace["x"] if x is not None]
        assert low <= min([0, *drawn]) and high >= max([0, *drawn])


def test_the_three_panels_are_drawn_to_one_measure() -> None:
    ranges = {tuple(nearer_panel(NEARER, arrival, empty, None)["layout"]["xaxis"]["range"]) for arrival in ARRIVALS}
    assert len(ranges) == 1


def drawn_lines(figure: dict[str, Any], width: float) -> list[float]:
    return [x for trace in figure["data"] if trace.get("line", {}).get("width") == width for x in trace["x"] if x is not None]


def test_supports_stand_in_their_fixed_order_whatever_the_order_of_the_answer() -> None:
    assert [row.support for row in in_order(tuple(reversed(EFFECTS)), "tilt")] == list(SUPPORTS)


def test_the_overall_rows_are_drawn_not_those_of_a_split() -> None:
    assert all(row.split is None for row in in_order(EFFECTS, "tilt"))


def test_a_claim_is_drawn_wide_and_told_by_its_way_and_nothing_else_is() -> None:
    shown = [row for row in in_order(EFFECTS, "sway") if row.told_low is not None]
    claimed = [end for row in shown if row.direction for end in (row.told_low, row.told_high)]
    others = [end for row in shown if not row.direction for end in (row.told_low, row.told_high)]
    figure = told_panel(EFFECTS, "sway", empty, "light")
    assert claimed and others
    assert (drawn_lines(figure, 6), drawn_lines(figure, 2.5)) == (claimed, others)
    row = next(row for row in NEARER if (row.support, row.level) == ("shim", "inward"))
    for one, words in (
        (replace(row, told_low=-0.5, told_high=-0.29), "0.29 to 0.50 nearer"),
        (replace(row, told_low=0.29, told_high=0.5), "0.29 to 0.50 further"),
        (replace(row, told_low=-0.5, told_high=0.29), "unclear"),
        (replace(row, told_low=-0.5, told_high=-0.29, q_value=0.05), "unclear"),
    ):
        assert told_row(one, empty).printed == words
        assert told_row(one, empty).is_claimed is (words != "unclear")


def test_a_row_without_a_figure_has_no_bar_and_says_what_it_lacks() -> None:
    figure = told_panel(EFFECTS, "tilt", empty, "light")
    place = list(SUPPORTS).index("insole_custom")
    lines = [trace for trace in figure["data"] if trace["mode"] != "text"]
    assert not any(y is not None and place < y < place + 1 for trace in lines for y in trace["y"])
    assert ["6 changes only"] in [trace["text"] for trace in figure["data"] if trace["mode"] == "text"]
    assert "Custom insole: 6 changes only" in told_words(in_order(EFFECTS, "tilt"), "tilt", empty)


def test_both_estimates_stand_beside_the_interval() -> None:
    rows = [row for row in in_order(EFFECTS, "sway") if row.pooled is not None]
    figure = estimates_panel(rows, "sway", "light")
    marks = [trace for trace in figure["data"] if trace["mode"] == "markers"]
    pooled, within = (next(trace for trace in marks if trace["marker"].get("symbol") == one) for one in ("circle", "diamond"))
    assert (pooled["x"], within["x"]) == ([row.pooled for row in rows], [row.within for row in rows])
    ends = [end for row in rows for end in (row.pooled_low, row.pooled_high)]
    assert drawn_lines(figure, 1.5)[: len(ends)] == ends
    assert row_name(NEARER[0]) == "Inward: low insole"
    assert all(name in told_words(in_order(EFFECTS, "offset"), "offset") for name in SUPPORTS.values())


def test_titles_say_the_finding() -> None:
    assert finding(EFFECTS, "tilt") == "Tilt: a clear change for 4 of 5 supports"
    wide = [replace(row, told_low=-9.0, told_high=9.0) for row in EFFECTS]
    by_chance = [replace(row, q_value=0.05) for row in EFFECTS]
    # Of the made rows one support has no figure.
    assert finding(by_chance, "tilt") == "Tilt: no clear change for any of 5 told yet"
    assert finding(wide, "tilt") == "Tilt: no clear change for any support"
    some = [row for row in EFFECTS if row.direction or row.pooled is None]
    assert finding(some, "tilt") == "Tilt: a clear change for 4 of 4 supports told yet"
    assert finding(tuple(row for row in EFFECTS if row.direction), "tilt") == "Tilt: a clear change for all 4 supports"
    assert finding((), "tilt") == "Tilt: no figure yet for any support"
    # On the tilt three supports take a knee outward and stance inward.
    assert nearer_finding(NEARER, "inward") == "Came inward: 3 nearer, 1 further"
    assert nearer_finding(NEARER, "outward") == "Came outward: 1 nearer, 3 further"
    assert nearer_finding(NEARER, "near neutral") == "Came near neutral: no clear change"
    assert nearer_finding([], "inward") == "Came inward: not enough yet"
    withheld = [replace(row, told_low=None, told_high=None) for row in EFFECTS]
    assert nearer_finding(rows_by_arrival(withheld), "inward") == "Came inward: nothing is claimed"
    assert finding(withheld, "tilt") == "Tilt: nothing is claimed"


def test_the_panel_in_words_names_every_support_and_which_way() -> None:
    words = alternative(NEARER, "inward", empty)
    assert all(name in words for name in SUPPORTS.values())
    shim = next(row for row in of_arrival(NEARER, "inward") if row.support == "shim")
    assert shim.told_low is not None and shim.told_high is not None
    assert f"One more shim: {-shim.told_high:.2f} to {-shim.told_low:.2f}° nearer" in words
    assert "no clear change" in words and "Custom insole: 6 changes only" in words


def test_levels_without_a_clear_difference_are_told_once() -> None:
    """Of the made families the shim differs; the others, and stance with q of 0.05, do not."""
    told = told_once(EFFECTS, FAMILIES, "tilt", "foot_type")
    assert [len(rows) for rows in told] == [1, 1, 1, 1, 4, 1]
    shims = [row for row in EFFECTS if row.level and (row.outcome, row.support) == ("tilt", "shim")]
    assert told[4] == shims
    names = levels_chart(told, "tilt", empty, None)["data"][2]["text"]
    assert names[:4] == ["Low insole", "Medium insole", "High insole", "Custom insole"]
    assert names[4:6] == ["<b>One more shim</b>", "low / neutral"] and names[-1] == "One mm of stance"
    no_room = tuple(row for row in EFFECTS if row.split is None) + tuple(
        replace(row, level=f"{row.level} {n}") for row in EFFECTS if row.split == "foot_type" for n in range(MOST_ROWS // 4)
    )
    assert [len(rows) for rows in told_once(no_room, FAMILIES, "tilt", "foot_type")] == [1] * 6

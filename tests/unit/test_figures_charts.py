"""Each chart draws the numbers of its answer and nothing else; plotly's own validator accepts it."""

from dataclasses import replace
from datetime import date
from typing import Any

import plotly.graph_objects as go
import pytest

from dashboard.figures.effects import alternative, effects_panel, finding, in_order, without_figure
from dashboard.figures.loading import FATES, loads_figure, most_frequent, reasons_figure
from dashboard.figures.names import SUPPORTS
from dashboard.questions.data.answers_data import LoadRow
from tests.unit.made_answers import made_data, made_effects

EFFECTS = made_effects("foot_type").effects
DATA = made_data()


def every_figure(theme: str) -> list[dict[str, Any]]:
    return [
        *(effects_panel(EFFECTS, outcome, theme) for outcome in ("tilt", "sway", "offset")),
        effects_panel((), "tilt", theme),
        loads_figure(DATA.loads, theme),
        loads_figure((), theme),
        reasons_figure(DATA.reasons, theme),
        reasons_figure((), theme),
    ]


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_plotly_accepts_every_figure(theme: str) -> None:
    for figure in every_figure(theme):
        assert go.Figure(figure).layout.height == figure["layout"]["height"]


def test_supports_stand_in_their_fixed_order_whatever_the_order_of_the_answer() -> None:
    assert [row.support for row in in_order(tuple(reversed(EFFECTS)), "tilt")] == list(SUPPORTS)


def test_the_overall_rows_are_drawn_not_those_of_a_split() -> None:
    assert all(row.split is None for row in in_order(EFFECTS, "tilt"))


def test_dots_are_the_estimates_and_lines_their_ends() -> None:
    shown = [row for row in in_order(EFFECTS, "sway") if row.pooled is not None]
    told, claimed, _, pooled_line, within_line, pooled, within = effects_panel(EFFECTS, "sway", "light")["data"]
    assert pooled["x"] == [row.pooled for row in shown]
    assert within["x"] == [row.within for row in shown]
    clear, unclear = ([row for row in shown if bool(row.direction) is wanted] for wanted in (True, False))
    assert clear and unclear
    for rows, line, name in (
        (clear, claimed, "told"),
        (unclear, told, "told"),
        (shown, pooled_line, "pooled"),
        (shown, within_line, "within"),
    ):
        assert line["x"] == [end for row in rows for end in (getattr(row, f"{name}_low"), getattr(row, f"{name}_high"), None)]
    assert pooled_line["line"]["width"] < told["line"]["width"] < claimed["line"]["width"]
    assert pooled["marker"]["symbol"] != within["marker"]["symbol"]


def test_everything_drawn_lies_in_the_range_and_so_does_zero() -> None:
    for outcome in ("tilt", "sway", "offset"):
        figure = effects_panel(EFFECTS, outcome, "light")
        low, high = figure["layout"]["xaxis"]["range"]
        drawn = [x for trace in figure["data"] for x in trace["x"] if x is not None]
        assert low < min([0, *drawn])
        assert high > max([0, *drawn])


def test_a_support_with_too_few_changes_has_its_count_and_no_mark() -> None:
    figure = effects_panel(EFFECTS, "tilt", "light")
    place = list(SUPPORTS).index("insole_custom")
    assert not any(y is not None and place <= y < place + 0.5 for trace in figure["data"] for y in trace["y"])
    assert "not enough yet (6 changes)" in [note["text"] for note in figure["layout"]["annotations"]]


def test_a_figure_refused_for_another_reason_is_not_called_too_few() -> None:
    row = replace(in_order(EFFECTS, "tilt")[3], n_changes=1439, words="A custom insole: no figure, always changed with a shim.")
    assert without_figure(row) == "no figure: see the words"
    assert without_figure(in_order(EFFECTS, "tilt")[3]) == "not enough yet (6 changes)"
    assert without_figure(replace(row, n_changes=0)) == "never changed"


def test_numbers_at_the_right_carry_a_real_minus() -> None:
    notes = [note["text"] for note in effects_panel(EFFECTS, "tilt", "light")["layout"]["annotations"]]
    assert notes[0] == "−0.63 to +0.33"


def test_titles_say_the_finding() -> None:
    assert finding(EFFECTS, "tilt") == "Tilt: a clear change for 4 of 5 supports"
    wide = [replace(row, told_low=-9.0, told_high=9.0) for row in EFFECTS]
    by_chance = [replace(row, q_value=0.05) for row in EFFECTS]
    assert finding(wide, "tilt") == finding(by_chance, "tilt") == "Tilt: no clear change for any support"
    assert finding(tuple(row for row in EFFECTS if row.direction), "tilt") == "Tilt: a clear change for all 4 supports"
    assert finding((), "tilt") == "Tilt: no figure yet for any support"


def test_the_chart_in_words_names_every_support_and_both_directions() -> None:
    words = alternative(EFFECTS, "offset")
    assert all(name in words for name in SUPPORTS.values())
    assert "minus is inward, plus is outward" in words
    assert "Custom insole: not enough yet" in words


def test_parts_of_a_load_add_up_to_what_was_read() -> None:
    row = LoadRow(1, "2026-01-02T08:00:00Z", 9, 100, 60, 15, 5, 8, 12)
    figure = loads_figure([row], "light")
    assert sum(trace["y"][0] for trace in figure["data"]) == row.read
    assert [trace["name"] for trace in figure["data"]] == [name for name, _, _ in FATES]


def test_parts_of_a_load_differ_in_pattern_where_they_are_not_plain() -> None:
    shapes = [trace["marker"]["pattern"]["shape"] for trace in loads_figure(DATA.loads, "light")["data"]]
    assert len({shape for shape in shapes if shape}) == 3


def test_days_under_many_loads_are_thinned_out() -> None:
    many = [replace(DATA.loads[0], load_id=n, loaded_at=f"{date(2026, 1, n)}T08:00:00Z") for n in range(1, 24)]
    axis = loads_figure(many, "light")["layout"]["xaxis"]
    assert len(axis["tickvals"]) <= 5
    assert axis["ticktext"][0] == "load 1<br>1 Jan<br>2026"
    assert axis["tickvals"] == [str(load.load_id) for load in many[::5]]


def test_the_most_frequent_reason_is_at_the_top() -> None:
    figure = reasons_figure(DATA.reasons, "light")
    drawn = {y: x for trace in figure["data"] for x, y in zip(trace["x"], trace["y"], strict=True)}
    assert [drawn[place] for place in sorted(drawn)] == [455, 31, 16]
    assert figure["layout"]["yaxis"]["ticktext"][0] == "waiting for a session<br>knee captures"
    assert [row.n for row in most_frequent(DATA.reasons)] == [455, 31, 16]

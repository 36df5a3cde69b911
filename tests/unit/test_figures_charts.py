"""Each chart draws the numbers of its answer and nothing else; plotly's own validator accepts it."""

from dataclasses import replace
from datetime import date
from typing import Any

import plotly.graph_objects as go
import pytest

from dashboard.figures.loading import FATES, loads_figure, most_frequent, reasons_figure
from dashboard.questions.data.answers_data import LoadRow
from tests.unit.made_answers import made_data

DATA = made_data()


def every_figure(theme: str) -> list[dict[str, Any]]:
    return [
        loads_figure(DATA.loads, theme),
        loads_figure((), theme),
        reasons_figure(DATA.reasons, theme),
        reasons_figure((), theme),
    ]


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_plotly_accepts_every_figure(theme: str) -> None:
    for figure in every_figure(theme):
        assert go.Figure(figure).layout.height == figure["layout"]["height"]


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

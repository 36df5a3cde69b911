"""What a report takes of a screen: words, tables and drawings; no controls, no lines that lead nowhere, no single riders."""

from dataclasses import dataclass
from typing import Any

from dash import dcc

from dashboard.components import html
from dashboard.components.chart import chart
from dashboard.components.next_steps import NextStep, next_steps
from dashboard.components.table import Column, csv_link, table
from dashboard.report.markup import drawings_in, markup
from dashboard.report.paper import on_paper, words_of
from dashboard.report.short import counted_steps


@dataclass(frozen=True)
class Fit:
    rider_id: str
    n: int


FIGURE: dict[str, Any] = {"data": [], "layout": {"height": 240}}
COLUMNS = (Column("Rider", lambda row: row.rider_id), Column("Fits", lambda row: str(row.n), numeric=True))


def drawn() -> html.Figure:
    numbers = table("Numbers of it", (Column("n", str),), [391])
    return chart(FIGURE, title="Tilt fell", alternative="Tilt fell by 1° in 391 knees.", name="tilt", table=numbers)


def on_sheet(node: Any, **given: Any) -> str:
    return str(markup(on_paper(node, with_riders=given.pop("with_riders", False), **given), iter(["<svg></svg>"] * 9)))


def test_a_line_that_only_leads_somewhere_is_left_out_and_a_link_within_words_is_words() -> None:
    shown = [
        html.P(dcc.Link("Every load", href="/data/load-files")),
        html.P([html.A("The two values", href="#x"), " "]),
        html.Ul([html.Li(dcc.Link("Only low arches", href="/supports"))]),
        html.P(["Held, as ", dcc.Link("the curve", href="/returns"), " tells."]),
        csv_link("/x.csv", "every fit"),
        html.P("Choose an outcome below.", className="way-to"),
    ]
    assert on_sheet(shown) == "<p>Held, as the curve tells.</p>\n"


def test_controls_and_what_names_them_are_left_out() -> None:
    shown = html.Div([html.Button("Save"), html.Nav(html.A("x", href="/")), "Told."], **{"aria-controls": "gone"})
    assert on_sheet(shown) == "<div>Told.</div>\n"


def test_a_chart_keeps_its_numbers_and_loses_what_unfolds_them() -> None:
    told = on_sheet(drawn())
    assert "Tilt fell" in told and "<svg>" in told and "391" in told and "Numbers of it" in told
    assert "Numbers and pictures" not in told and "PNG" not in told
    folded = on_sheet(drawn(), folded=False)
    assert "<svg>" in folded and "391</th>" not in folded
    numbers = on_sheet(drawn(), drawn=False)
    assert "<svg>" not in numbers and "391" in numbers and "Tilt fell" in numbers


def test_a_chart_carries_its_words_to_where_nothing_can_draw() -> None:
    one, two = drawings_in(html.Div([drawn(), html.Div(drawn(), className="panels is-double")]))
    assert (one.words, one.width, two.width) == ("Tilt fell by 1° in 391 knees.", 672, 321)


def test_single_riders_stand_on_paper_only_where_asked_for() -> None:
    def shown() -> html.Div:
        return html.Div([table("Fits to look at", COLUMNS, [Fit("R0655", 3)]), table("None", COLUMNS, [])])

    assert "R0655" not in on_sheet(shown()) and "None" in on_sheet(shown())
    assert "R0655" in on_sheet(shown(), with_riders=True)


def test_what_unfolds_nothing_is_left_out() -> None:
    shown = [html.Details([html.Summary("More"), html.P(html.A("All", href="/x"))]), html.Details([html.Summary("Why"), "So."])]
    assert on_sheet(shown) == "<div><h4>Why</h4>\nSo.</div>\n"


def test_what_waits_is_what_is_counted() -> None:
    steps = [
        NextStep("calls due today", "/returns/calls", 19),
        NextStep("The same for low arches", "/supports"),
        NextStep("rows", "/d", 0),
    ]
    shown = [html.P("x"), html.Div(next_steps(steps))]
    assert counted_steps(shown) == ["19 calls due today"]
    assert "calls" not in words_of(on_paper(shown, with_riders=True))

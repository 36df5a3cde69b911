"""What no callback touches is sent as still pieces; what one touches stays a component of Dash."""

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from dash import dcc, html, no_update
from dash.development.base_component import Component

import dashboard
from dashboard.app import create_app
from dashboard.components.address import Addresses
from dashboard.components.page import frame
from dashboard.components.still import Still, made_still, touched_ids
from dashboard.web.lean import LeanDash
from tests.every_view import EVERY_VIEW
from tests.unit.made_answers import MadeAsker

ASSETS = Path(dashboard.__file__ or "").with_name("assets")


@pytest.fixture(scope="module")
def app() -> LeanDash:
    return create_app(MadeAsker())  # type: ignore[arg-type, return-value]


def components(shown: Any) -> Iterator[Component]:
    """Every component that Dash would draw, in order."""
    if isinstance(shown, Component):
        yield shown
        shown = getattr(shown, "children", None)
        yield from components(shown)
    elif isinstance(shown, list | tuple):
        for part in shown:
            yield from components(part)


def test_a_table_is_one_component_however_long() -> None:
    rows = [
        html.Tr([html.Th(f"row {n}", scope="row"), html.Td(n, className="is-number", **{"data-n": str(n)})]) for n in range(50)
    ]
    still = made_still(html.Table([html.Caption("Rows"), html.Tbody(rows)], id="rows"), {"place"})
    assert isinstance(still, Still)
    tree = json.loads(still.tree)
    assert tree[:3] == ["table", {"id": "rows"}, ["caption", {}, "Rows"]]
    assert tree[3][2] == [
        "tr",
        {},
        ["th", {"scope": "row"}, "row 0"],
        ["td", {"className": "is-number", "data-n": "0"}, 0],
    ]


def test_text_stays_text_and_a_link_says_that_it_is_one() -> None:
    still = made_still(html.P(["<img onerror=x>", None, dcc.Link("Studio", href="/studio")]), ())
    assert json.loads(still.tree) == ["p", {}, "<img onerror=x>", None, ["dcc.Link", {"href": "/studio"}, "Studio"]]


@pytest.mark.parametrize("value", ["words", 3, None, no_update, {"token": "a"}, True])
def test_a_value_that_is_no_component_stays_as_it_is(value: Any) -> None:
    assert made_still(value, ()) is value
    assert made_still((value, html.P("still")), ())[0] is value


def test_what_a_callback_touches_is_drawn_by_dash_and_what_lies_around_it_too() -> None:
    page = html.Div([html.H1("Heading"), html.Section(html.Div(id="place")), dcc.Store(id="kept"), html.P("words")])
    still = made_still(page, {"place"})
    assert [type(part).__name__ for part in components(still)] == ["Div", "Still", "Section", "Div", "Store", "Still"]


def test_an_id_that_matches_by_pattern_and_components_with_a_state_of_their_own_stay_with_dash() -> None:
    assert isinstance(made_still(html.Button("Undo", id={"kind": "undo", "load": 1}), ()), html.Button)
    assert isinstance(made_still(html.Div(dcc.Store(id="kept")), ()), html.Div)
    assert isinstance(made_still(html.Div(dcc.Graph(id="chart")), {"chart"}), html.Div)


def test_a_chart_that_no_callback_reads_is_part_of_the_piece() -> None:
    figure = {"data": [{"x": [1]}], "layout": {"height": 200}}
    still = made_still(html.Div(dcc.Graph(figure=figure, config={"displaylogo": False})), ())
    assert json.loads(still.tree) == ["div", {}, ["dcc.Graph", {"figure": figure, "config": {"displaylogo": False}}, None]]


def test_ids_are_those_of_inputs_states_outputs_and_signs_of_work() -> None:
    callbacks = {
        "place.children": {"inputs": [{"id": "view", "property": "data"}], "state": [{"id": "kept", "property": "data"}]},
        "..a.children...b.hidden..": {"inputs": [], "state": []},
    }
    listed = [
        {"running": None},
        {"running": {"running": {"working.children": "Loading"}, "runningOff": {"working.children": ""}}},
    ]
    assert touched_ids(callbacks, listed) == {"view", "kept", "place", "a", "b", "working"}


def test_what_a_script_fills_is_named_by_its_page() -> None:
    """Scripts write by `put("id", ...)`; a still piece could not be written."""
    put = {place for path in ASSETS.glob("page-*.js") for place in re.findall(r'put\("([^"]+)"', path.read_text())}
    assert put == {place for page in EVERY_VIEW for place in page.view.scripted}


@pytest.mark.parametrize("page", EVERY_VIEW, ids=lambda page: page.name)
def test_every_id_that_a_callback_touches_is_still_a_component(app: LeanDash, page: Any) -> None:
    touched = app._touched
    before = [
        one.id for one in components(frame(page.page, page.view, Addresses("/"), "")) if getattr(one, "id", None) in touched
    ]
    after = [
        one.id
        for one in components(app.still(frame(page.page, page.view, Addresses("/"), "")))
        if getattr(one, "id", None) in touched
    ]
    assert before == after and before


def test_the_layout_holds_still_pieces_and_every_answer_is_made_still(app: LeanDash) -> None:
    client = app.server.test_client()
    assert '"type":"Still"' in client.get("/_dash-layout").get_data(as_text=True).replace(" ", "")
    asked = {
        "output": "..page.children...split-control.hidden..",
        "outputs": [{"id": "page", "property": "children"}, {"id": "split-control", "property": "hidden"}],
        "inputs": [{"id": "url", "property": "pathname", "value": "/nowhere"}],
        "state": [{"id": "url", "property": "search", "value": ""}],
        "changedPropIds": ["url.pathname"],
    }
    told = client.post("/_dash-update-component", json=asked).get_json()["response"]["page"]["children"]
    assert told["type"] == "Still" and "This address leads to no page" in json.dumps(told)


@pytest.mark.parametrize("page", EVERY_VIEW, ids=lambda page: page.name)
def test_of_the_core_components_only_those_that_our_own_script_draws_are_sent(app: LeanDash, page: Any) -> None:
    """The library's bundle is left out; assets/core.js stands for what the pages use of it."""
    told = app.server.test_client().get(f"/{page.path}").get_data(as_text=True)
    drawn = re.search(r"window\.dash_core_components = \{ (.*) \};", (ASSETS / "core.js").read_text())
    assert drawn is not None
    names = {name.split(":")[0] for name in drawn[1].split(", ")}
    layout = re.search(r'data-answers="_dash-layout">(.*?)</script>', told)
    assert layout is not None
    used = {part["type"] for part in parts(json.loads(layout[1])) if part["namespace"] == "dash_core_components"}
    assert {"Location", "Store"} <= used <= names


def parts(layout: Any) -> Iterator[dict[str, Any]]:
    """Every component of a layout as it is told to the browser."""
    if isinstance(layout, list):
        for one in layout:
            yield from parts(one)
    elif isinstance(layout, dict) and "props" in layout:
        yield layout
        yield from parts(layout["props"].get("children"))

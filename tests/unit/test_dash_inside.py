"""Canaries: what lean.py, still.py and our scripts use of Dash is no part of its documentation, and pyproject.toml holds its
version below the next."""

import inspect
from importlib.metadata import version
from pathlib import Path

import dash
import pytest
from dash import Input, Output, State, dcc
from dash._utils import to_json
from dash.development.base_component import Component

from dashboard.components.html import Div

FOLDER = Path(dash.__file__).parent


def test_the_version_is_the_one_that_was_looked_into() -> None:
    assert version("dash").startswith("4.4.")


def test_callbacks_are_kept_as_the_still_pieces_read_them() -> None:
    app = dash.Dash("canary")
    app.callback(Output("place", "children"), Input("view", "data"), State("kept", "data"))(lambda view, kept: view)
    app.callback(
        Output("one", "children"), Output("two", "hidden"), Input("view", "data"), running=[(Output("sign", "hidden"), 0, 1)]
    )(lambda view: (view, view))
    assert isinstance(app._callback_list, list)
    app.layout = Div()
    app._setup_server()
    place, both = app.callback_map
    assert (place, both) == ("place.children", "..one.children...two.hidden..")
    assert app.callback_map[place]["inputs"] == [{"id": "view", "property": "data"}]
    assert app.callback_map[place]["state"] == [{"id": "kept", "property": "data"}]
    listed = {one["output"]: one for one in app._callback_list}
    assert list(listed[both]["running"]["running"]) == ["sign.hidden"]
    assert {"inputs", "state", "clientside_function"} <= set(listed[place])


def test_a_component_holds_what_the_still_pieces_look_at() -> None:
    link = dcc.Link("words", href="/data")
    assert (link._namespace, link._type) == ("dash_core_components", "Link")
    assert {"children", "href", "available_properties", "available_wildcard_properties"} <= set(vars(link))
    for name in ("_namespace", "_type", "_children_props", "_base_nodes", "_prop_names", "_valid_wildcard_attributes"):
        assert hasattr(link, name), name
    assert [part.id for part in Div([Div(id="inner")], id="outer")._traverse() if getattr(part, "id", None)] == ["inner"]
    assert to_json({"a": [1, None]}) == '{"a":[1,null]}'
    assert "_traverse" in vars(Component)


@pytest.mark.parametrize("part", ["metas", "title", "css", "config", "scripts", "app_entry", "favicon", "renderer"])
def test_the_parts_of_a_page_are_named_as_they_were(part: str) -> None:
    assert part in inspect.signature(dash.Dash.interpolate_index).parameters


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("dash-renderer/build/dash_renderer.min.js", "dash_clientside"),
        ("dash-renderer/build/dash_renderer.min.js", "clean_url"),
        ("dash-renderer/build/dash_renderer.min.js", "_dash-update-component"),
        ("dash.py", "_dash-layout"),
        ("dash.py", "_dash-dependencies"),
        ("dash.py", "_dash-component-suites"),
    ],
)
def test_the_names_that_the_scripts_share_with_dash_are_there(name: str, words: str) -> None:
    assert words in (FOLDER / name).read_text(encoding="utf-8")

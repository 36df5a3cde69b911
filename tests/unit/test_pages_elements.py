"""Our light elements are Dash's own in everything but the time they take."""

import re
from pathlib import Path
from typing import Any

import pytest
from dash import html as of_dash
from dash._utils import to_json
from dash.development.base_component import ComponentRegistry

import dashboard
from dashboard.components import html

GIVEN: list[tuple[str, tuple[Any, ...], dict[str, Any]]] = [
    ("Td", ("3",), {"className": "is-number", "data-n": "3.1"}),
    ("Th", (), {"children": "row", "scope": "row"}),
    ("P", (["a", 1, None],), {"role": "status", "id": "told", "aria-live": "polite", "hidden": None}),
    ("Button", (), {"id": {"kind": "undo", "load": 1}, "disabled": True, "n_clicks": 0}),
    ("Br", (), {}),
]


@pytest.mark.parametrize(("kind", "children", "given"), GIVEN, ids=lambda part: part if isinstance(part, str) else "")
def test_an_element_is_told_as_dash_tells_its_own(kind: str, children: tuple[Any, ...], given: dict[str, Any]) -> None:
    light, own = getattr(html, kind)(*children, **given), getattr(of_dash, kind)(*children, **given)
    assert light.to_plotly_json() == own.to_plotly_json()
    assert to_json(light) == to_json(own)
    assert repr(light) == repr(own)
    assert isinstance(light, getattr(of_dash, kind)) and type(light).__name__ == kind


def test_an_element_within_another_is_found_by_its_id() -> None:
    inner = html.Span("words", id="inner")
    assert html.Div([html.P(inner)])["inner"] is inner


@pytest.mark.parametrize("given", [{"clasName": "x"}, {"data": "x"}, {"className": "x", "onclick": "x"}])
def test_an_attribute_that_the_kind_does_not_have_is_refused(given: dict[str, str]) -> None:
    for _ in range(2):
        with pytest.raises(TypeError, match=r"has no attribute (clasName|data|onclick)$"):
            html.Td("x", **given)


def test_what_one_element_was_given_is_not_known_of_the_next() -> None:
    html.Td("x", title="first", **{"data-n": "1"})
    assert html.Td("y").to_plotly_json()["props"] == {"children": "y"}


def test_no_kind_is_made_of_a_name_that_html_does_not_have() -> None:
    with pytest.raises(AttributeError):
        html.Nothing("x")
    assert not hasattr(html, "__path__")


def test_dash_knows_as_many_packages_of_components_as_it_did() -> None:
    known = set(ComponentRegistry.registry)
    html.Mark("x")
    assert set(ComponentRegistry.registry) == known
    assert ComponentRegistry.namespace_to_package["dash_html_components"] == "dash"


def test_every_module_takes_its_elements_from_here() -> None:
    """The slow ones look the same, and would come back unseen."""
    root = Path(dashboard.__file__ or "").parent
    ours = root / "components" / "html.py"
    of_dash_alone = re.compile(r"^\s*(?:from dash import .*\bhtml\b|from dash\.html |import dash\.html)", re.MULTILINE)
    assert [path for path in root.rglob("*.py") if path != ours and of_dash_alone.search(path.read_text("utf-8"))] == []
    assert of_dash_alone.search(ours.read_text("utf-8"))

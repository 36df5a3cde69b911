"""What comes with a page: its files as two, its layout filled for the address, and what it can ask at once."""

import json
import re
from typing import Any

import pytest
from flask.testing import FlaskClient

from dashboard.app import create_app
from tests.every_view import EVERY_VIEW
from tests.unit.made_answers import MadeAsker


@pytest.fixture
def client() -> FlaskClient:
    return create_app(MadeAsker()).server.test_client()  # type: ignore[arg-type]


def brought(client: FlaskClient, address: str, mark: str) -> Any:
    """The data that the page at an address brings under a mark."""
    found = re.search(rf'<script type="application/json" {mark}>(.*?)</script>', client.get(address).get_data(as_text=True))
    assert found is not None
    return json.loads(found[1])


def props(part: Any) -> dict[str, dict[str, Any]]:
    """The properties of every component with an id."""
    if isinstance(part, list):
        return {name: value for one in part for name, value in props(one).items()}
    if not isinstance(part, dict) or "props" not in part:
        return {}
    own = part["props"]
    return ({own["id"]: own} if "id" in own else {}) | props(own.get("children"))


def layout(client: FlaskClient, address: str) -> dict[str, dict[str, Any]]:
    return props(brought(client, address, 'data-answers="_dash-layout"'))


def test_a_page_is_one_style_sheet_one_script_and_the_charts_after_it(client: FlaskClient) -> None:
    page = client.get("/").get_data(as_text=True)
    styles, scripts = re.findall(r'<link rel="stylesheet" href="([^"]+)"', page), re.findall(r'<script src="([^"]+)"', page)
    assert len(styles) == 1 and [("plotly" in script) for script in scripts] == [False, True]
    assert page.index(scripts[0]) < page.index("new DashRenderer()") < page.index(scripts[1])
    text = client.get(scripts[0]).get_data(as_text=True)
    order = ["React=", "ReactDOM=", "regeneratorRuntime", "Still: Still", "DashRenderer"]
    assert sorted(order, key=text.index) == order
    assert "\n//# sourceMappingURL" not in text
    assert ".filter-bar" in client.get(styles[0]).get_data(as_text=True)


def test_nothing_is_loaded_for_old_browsers_for_tables_or_for_components_that_no_page_has(client: FlaskClient) -> None:
    text = client.get(re.findall(r'<script src="([^"]+)"', client.get("/").get_data(as_text=True))[0]).get_data(as_text=True)
    assert "core-js" not in text and "DatePickerRange" not in text


def test_a_bundle_is_kept_for_good_under_a_name_of_its_content(client: FlaskClient) -> None:
    page = client.get("/").get_data(as_text=True)
    address = re.findall(r'<link rel="stylesheet" href="([^"]+)"', page)[0]
    response = client.get(address)
    assert "immutable" in response.headers["Cache-Control"] and response.mimetype == "text/css"
    # Another program that has just started knows the file that this one named; a name that it never had it does not know.
    other = create_app(MadeAsker()).server.test_client()  # type: ignore[arg-type]
    assert other.get(address).get_data() == response.get_data()
    assert other.get(address.replace("-styles", "0-styles")).status_code == 404


@pytest.mark.parametrize("page", EVERY_VIEW, ids=lambda page: page.name)
def test_the_layout_holds_the_page_of_the_address_and_its_places_can_be_asked_at_once(client: FlaskClient, page: Any) -> None:
    told = layout(client, f"/{page.path}?side=left")
    assert told["url"]["pathname"] == f"/{page.path}" and told["url"]["search"] == "?side=left"
    assert told["view"]["data"] == "?side=left" and told["filter-side"]["value"] == ["left"]
    assert told["split-control"]["hidden"] is not page.splits
    first = brought(client, f"/{page.path}?side=left", 'id="first-questions"')
    assert first["view"] == "?side=left" and first["places"]
    assert all(place in told for place in first["places"])
    assert "Left" in json.dumps(told["chosen"]) or "left" in json.dumps(told["chosen"])


def test_an_answer_that_is_asked_early_is_the_one_that_the_page_asks(client: FlaskClient) -> None:
    first = brought(client, "/symmetry", 'id="first-questions"')
    callbacks = {one["output"]: one for one in brought(client, "/symmetry", 'data-answers="_dash-dependencies"')}
    for place in first["places"]:
        one = callbacks[f"{place}.children"]
        assert [part["id"] for part in one["inputs"]] == ["view", "theme"] and not one["state"]


def test_an_address_with_a_fault_is_asked_as_it_stands_and_leaves_the_controls_empty(client: FlaskClient) -> None:
    told = layout(client, "/?sid=left")
    assert told["view"]["data"] == "?sid=left" and told["filter-side"]["value"] == []


def test_an_address_that_is_no_page_is_left_to_the_browser(client: FlaskClient) -> None:
    told = layout(client, "/nowhere?side=left")
    assert told["url"].get("pathname") is None and told["view"].get("data") is None
    assert brought(client, "/nowhere", 'id="first-questions"')["places"] == []


def test_what_comes_with_a_page_cannot_end_its_element_and_is_kept_nowhere(client: FlaskClient) -> None:
    response = client.get("/?rider=%3C/script%3E%3Cimg%20onerror=x%3E")
    text = response.get_data(as_text=True)
    assert "<img onerror" not in text and "\\u003c\\u002fscript\\u003e" in text
    assert response.headers["Cache-Control"] == "no-store"

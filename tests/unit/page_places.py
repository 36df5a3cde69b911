"""Asks every place of a page as a browser does, and walks what it tells; for tests of all pages at once."""

import json
from collections.abc import Iterator
from typing import Any

from flask.testing import FlaskClient

from dashboard.components import ids

CALLBACK = "/_dash-update-component"


def parts(told: Any) -> Iterator[dict[str, Any]]:
    """Every component in what a page tells."""
    if isinstance(told, dict):
        if "type" in told and "namespace" in told:
            yield told
        for value in told.values():
            yield from parts(value)
    elif isinstance(told, list):
        for value in told:
            yield from parts(value)


def unfolded(told: Any) -> Any:
    """The same with every still piece as the components that it stands for."""
    if isinstance(told, list):
        return [unfolded(part) for part in told]
    if not isinstance(told, dict):
        return told
    if told.get("type") == "Still":
        return _unfolded_element(json.loads(told["props"]["tree"]))
    return {name: unfolded(part) for name, part in told.items()}


def _unfolded_element(part: Any) -> Any:
    if not isinstance(part, list):
        return part
    tag, attributes, *children = part
    props = {**attributes, "children": [_unfolded_element(child) for child in children]}
    return {"type": tag.removeprefix("dcc."), "namespace": "still", "props": props}


def texts(value: Any) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict | list):
        for part in value.values() if isinstance(value, dict) else value:
            yield from texts(part)


def places(client: FlaskClient, path: str, search: str) -> Iterator[Any]:
    """What every place of a page tells."""
    known = [one for one in client.get("/_dash-dependencies").get_json() if not one["clientside_function"]]
    page_up = next(one for one in known if f"{ids.PAGE}.children" in one["output"])
    layout = _asked(client, page_up, {ids.URL: f"/{path}"}, search)
    yield layout
    for one in known:
        inputs = [part["id"] for part in one["inputs"]]
        if (
            inputs == [ids.VIEW, ids.THEME]
            and not one["state"]
            and f'"{one["output"].rsplit(".", 1)[0]}"' in json.dumps(layout)
        ):
            yield _asked(client, one, {ids.VIEW: search, ids.THEME: "light"})


def _asked(client: FlaskClient, callback: dict[str, Any], values: dict[str, str], state: str = "") -> Any:
    names = [name.rsplit(".", 1) for name in callback["output"].strip(".").split("...")]
    outputs = [{"id": place, "property": name} for place, name in names]
    body = {
        "output": callback["output"],
        "outputs": outputs if callback["output"].startswith("..") else outputs[0],
        "inputs": [{**part, "value": values[part["id"]]} for part in callback["inputs"]],
        "state": [{**part, "value": state} for part in callback["state"]],
        "changedPropIds": [],
    }
    response = client.post(CALLBACK, json=body)
    assert response.status_code in (200, 204), response.get_data(as_text=True)
    return unfolded(json.loads(response.get_data())) if response.status_code == 200 else None


def words(part: Any) -> str:
    """The text of a component."""
    if isinstance(part, str):
        return part
    children = part if isinstance(part, list) else getattr(part, "children", None) or []
    return " ".join(words(each) for each in (children if isinstance(children, list) else [children]))

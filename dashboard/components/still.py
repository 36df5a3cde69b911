"""Sends what no callback touches as still pieces of page: one component each, however many elements it holds.

Every component that Dash draws listens to every answer. A page of four thousand elements took seconds that way, in
the browser of every reader; a still piece is drawn by React at once (assets/still.js).
"""

import functools
from collections.abc import Collection, Iterable, Mapping
from types import NoneType
from typing import Any, ClassVar, Final

import orjson
from dash.development.base_component import Component

_HTML: Final = "dash_html_components"
# What assets/still.js draws itself.
_DRAWN: Final = (("dash_core_components", "Link"), ("dash_core_components", "Graph"))
# Children that are told as they are.
_PLAIN: Final = (str, int, float, NoneType)
# What one of Dash's own components holds beside what it was given.
_OF_KIND: Final = ("available_properties", "available_wildcard_properties")


class Still(Component):  # type: ignore[misc]  # Dash is untyped
    """Elements that stay as they are until the place around them is filled anew.

    `tree`: an element as [tag, attributes, child, ...], where a child is text or an element; kept as JSON.
    `of`: the query of the address for which its links were made; None where they are made for none.
    """

    # What Dash asks of a component.
    _namespace = "fitledger"
    _type = "Still"
    _children_props: ClassVar[list[str]] = []
    _base_nodes: ClassVar[list[str]] = []
    _prop_names: ClassVar[list[str]] = ["tree", "of"]
    _valid_wildcard_attributes: ClassVar[list[str]] = []

    def __init__(self, tree: list[Any], of: str | None = None) -> None:
        # Dash's own way in would look for a package of this namespace, in every folder of Python's, for each piece.
        # Told as text: the general encoder of answers would walk through every element a second time.
        self.tree = orjson.dumps(tree, option=orjson.OPT_SERIALIZE_NUMPY).decode()
        if of is not None:
            # A query may hold halves of signs, which no encoder takes.
            self.of = of.encode("utf-8", "replace").decode("utf-8")


def touched_ids(callbacks: dict[str, Any], listed: Iterable[dict[str, Any]]) -> frozenset[str]:
    """The ids in inputs, states, outputs and signs of work of the callbacks, as Dash registers them."""
    ids = {part["id"] for one in callbacks.values() for kind in ("inputs", "state") for part in one[kind]}
    targets = [target for output in callbacks for target in output.strip(".").split("...")]
    for one in listed:
        targets += (one.get("running") or {}).get("running", {})
    return frozenset(ids) | {target.rsplit(".", 1)[0] for target in targets}


def made_still(shown: Any, touched: Collection[str], of: str | None = None) -> Any:
    """The same components, where every largest piece that is still is one `Still`; other values stay as they are.

    `of`: the query of the address for which they were made.
    """
    if isinstance(shown, list | tuple):
        return type(shown)(made_still(part, touched, of) for part in shown)
    if not isinstance(shown, Component):
        return shown
    tree = _tree(shown, touched)
    if tree is not None:
        return Still(tree, of)
    if isinstance(children := getattr(shown, "children", None), list | tuple | Component):
        shown.children = made_still(children, touched, of)
    return shown


def _tree(component: Component, touched: Collection[str]) -> list[Any] | None:
    """The component as a still tree, or None where it holds something that is drawn by Dash."""
    tag = _tag(component._namespace, component._type)
    held = vars(component)
    if tag is None or (given_id := held.get("id")) in touched or isinstance(given_id, dict):
        return None
    drawn: list[Any] = [tag, _attributes(held)]
    children = held.get("children")
    for child in children if isinstance(children, list | tuple) else (children,):
        if isinstance(child, _PLAIN):
            drawn.append(child)
        elif isinstance(child, list | tuple) or (part := _part(child, touched)) is None:
            return None
        else:
            drawn.append(part)
    return drawn


def _part(child: Any, touched: Collection[str]) -> Any:
    return _tree(child, touched) if hasattr(child, "_prop_names") else child


def _attributes(held: Mapping[str, Any]) -> dict[str, Any]:
    """What was given to a component. Its own listing looks at every attribute that it might have, ten times as long."""
    given = dict(held)
    given.pop("children", None)
    if "available_properties" in given or None in given.values():
        return {name: value for name, value in given.items() if value is not None and name[0] != "_" and name not in _OF_KIND}
    return given


@functools.cache
def _tag(namespace: str, kind: str) -> str | None:
    return kind.lower() if namespace == _HTML else f"dcc.{kind}" if (namespace, kind) in _DRAWN else None

"""Turns what the screens are made of into plain HTML: tables and words as they are, charts as drawings, no controls."""

from collections.abc import Iterator
from typing import Any, Final

from markupsafe import Markup, escape

_RENAMED: Final = {"className": "class", "colSpan": "colspan", "rowSpan": "rowspan", "htmlFor": "for", "dateTime": "datetime"}
_KEPT: Final = ("class", "colspan", "rowspan", "scope", "role", "lang", "title", "datetime")
_VOID: Final = ("br", "hr", "img", "col")
# Controls, and what only leads somewhere, is folded away or told elsewhere in the report.
_LEFT_OUT: Final = ("button", "nav", "input", "form", "store", "upload")
_LEFT_OUT_CLASSES: Final = frozenset(
    {
        "csv-line",
        "chart-tools",
        "turning",
        "choices",
        "choices-line",
        "more",
        "selected",
        "data-note",
        "method",
        "lead-in",
        "since",
    }
)
# A page's own headings stand below that of its section; what a screen unfolds has one too.
_LOWERED: Final = {"h1": "h2", "h2": "h3", "h3": "h4", "details": "div", "summary": "h4"}
# A4 less margins is 178 mm: 672 px at 96 to the inch.
FULL_WIDTH: Final = 672
HALF_WIDTH: Final = 321


def figures_in(node: Any, width: int = FULL_WIDTH) -> Iterator[tuple[dict[str, Any], int]]:
    """Every chart's figure in a tree of components with its width in px, in order; two stand side by side where they do so
    on a screen."""
    if isinstance(node, list | tuple):
        for part in node:
            yield from figures_in(part, width)
    elif hasattr(node, "to_plotly_json") and not _is_left_out(node):
        if type(node).__name__ == "Graph":
            yield node.figure, width
        else:
            side_by_side = "is-double" in _classes(node)
            yield from figures_in(getattr(node, "children", None), HALF_WIDTH if side_by_side else width)


def of_class(node: Any, name: str) -> Iterator[Any]:
    """Every component of a class in a tree."""
    if isinstance(node, list | tuple):
        for part in node:
            yield from of_class(part, name)
    elif hasattr(node, "to_plotly_json"):
        if name in _classes(node):
            yield node
        else:
            yield from of_class(getattr(node, "children", None), name)


def markup(node: Any, drawings: Iterator[str]) -> Markup:
    """A tree of components as HTML; `drawings` gives the drawing of each chart in the order of `figures_in`."""
    if node is None or isinstance(node, bool):
        return Markup()
    if isinstance(node, list | tuple):
        return Markup().join(markup(part, drawings) for part in node)
    if not hasattr(node, "to_plotly_json"):
        return escape(str(node))
    return Markup() if _is_left_out(node) else _component(node, drawings)


def _component(node: Any, drawings: Iterator[str]) -> Markup:
    kind = type(node).__name__
    if kind == "Graph":
        # Drawn by the chart library from our own figures; what comes from data was escaped for it.
        return Markup(next(drawings))
    inside = markup(getattr(node, "children", None), drawings)
    if kind in ("Link", "A"):
        return inside
    return _element(_LOWERED.get(kind.lower(), kind.lower()), node, inside)


def _classes(node: Any) -> set[str]:
    return set(str(getattr(node, "className", None) or "").split())


def _is_left_out(node: Any) -> bool:
    return type(node).__name__.lower() in _LEFT_OUT or bool(_classes(node) & _LEFT_OUT_CLASSES)


def _element(tag: str, node: Any, inside: Markup) -> Markup:
    attributes = Markup().join(Markup(' {}="{}"').format(name, value) for name, value in _attributes(node))
    if tag in _VOID:
        return Markup("<{}{}>").format(Markup(tag), attributes)
    return Markup("<{0}{1}>{2}</{0}>\n").format(Markup(tag), attributes, inside)


def _attributes(node: Any) -> Iterator[tuple[str, str]]:
    given: dict[str, Any] = node.to_plotly_json()["props"]
    for prop, value in given.items():
        name = _RENAMED.get(prop, prop)
        if value is not None and (name in _KEPT or name.startswith("aria-")) and name != "aria-keyshortcuts":
            yield name, str(value)

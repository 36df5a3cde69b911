"""Turns components, as paper takes them, into plain HTML: tables and words as they are, charts as drawings or in words."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final

from markupsafe import Markup, escape

from dashboard.report.paper import SMALL, classes

_RENAMED: Final = {"className": "class", "colSpan": "colspan", "rowSpan": "rowspan", "htmlFor": "for", "dateTime": "datetime"}
_KEPT: Final = ("class", "colspan", "rowspan", "scope", "role", "lang", "title", "datetime")
# Names of what a screen's script finds by its id, which no report has.
_LEADING: Final = ("aria-keyshortcuts", "aria-controls", "aria-labelledby", "aria-describedby")
_VOID: Final = ("br", "hr", "img", "col")
# A page's own headings stand below that of its section; what a screen unfolds has one too.
_LOWERED: Final = {"h1": "h2", "h2": "h3", "h3": "h4", "details": "div", "summary": "h4"}
# A4 less margins is 178 mm: 672 px at 96 to the inch.
FULL_WIDTH: Final = 672
# Two stand side by side: as on the screen, or drawn larger than they are printed, so that a whole answer takes half a sheet.
_NARROW: Final = {"is-double": 321, SMALL: 480}


@dataclass(frozen=True)
class Drawing:
    """One chart to be drawn: its figure, its width in px, and the chart in words."""

    figure: dict[str, Any]
    width: int
    words: str


def drawings_in(node: Any, width: int = FULL_WIDTH, words: str = "") -> Iterator[Drawing]:
    """Every chart in a tree of components, in order; those that stand side by side on a screen do so here."""
    if isinstance(node, list | tuple):
        for part in node:
            yield from drawings_in(part, width, words)
    elif hasattr(node, "to_plotly_json"):
        if type(node).__name__ == "Graph":
            yield Drawing(node.figure, width, words)
            return
        inside = next((narrow for name, narrow in _NARROW.items() if name in classes(node)), width)
        yield from drawings_in(getattr(node, "children", None), inside, getattr(node, "aria-label", None) or words)


def markup(node: Any, drawings: Iterator[str]) -> Markup:
    """A tree of components as HTML; `drawings` gives the HTML of each chart in the order of `drawings_in`."""
    if node is None or isinstance(node, bool):
        return Markup()
    if isinstance(node, list | tuple):
        return Markup().join(markup(part, drawings) for part in node)
    if not hasattr(node, "to_plotly_json"):
        return escape(str(node))
    kind = type(node).__name__
    if kind == "Graph":
        # Drawn by the chart library from our own figures; what comes from data was escaped for it.
        return Markup(next(drawings))
    inside = markup(getattr(node, "children", None), drawings)
    return inside if kind in ("Link", "A") else _element(_LOWERED.get(kind.lower(), kind.lower()), node, inside)


def _element(tag: str, node: Any, inside: Markup) -> Markup:
    attributes = Markup().join(Markup(' {}="{}"').format(name, value) for name, value in _attributes(node))
    if tag in _VOID:
        return Markup("<{}{}>").format(Markup(tag), attributes)
    return Markup("<{0}{1}>{2}</{0}>\n").format(Markup(tag), attributes, inside)


def _attributes(node: Any) -> Iterator[tuple[str, str]]:
    given: dict[str, Any] = node.to_plotly_json()["props"]
    for prop, value in given.items():
        name = _RENAMED.get(prop, prop)
        if name == "tabIndex" and given.get("role") == "region":
            yield "tabindex", str(value)  # a table wider than a window is moved by the keyboard too
        elif value is not None and (name in _KEPT or name.startswith("aria-")) and name not in _LEADING:
            yield name, str(value)

"""Pieces of text in a tree of components, its cells in bold, and the marks of its charts that say more than a dot."""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final

# Elements that hold a piece of text each; what stands within one is read with it.
_PIECES: Final = frozenset({"P", "Li", "Td", "Th", "H1", "H2", "H3", "H4", "Caption", "Summary", "Dt", "Dd", "Legend"})
# Elements whose text is parted from what stands beside it.
_APART: Final = frozenset({"Br", "Small", "Span", "Li", "P", "Ul"})
# What repeats the title of a chart or a table on a button or a link.
_LEFT_OUT: Final = frozenset({"chart-tools", "csv-line"})
_MARKS: Final = frozenset({"diamond", "square", "triangle-up"})
_CHARTS_WITH_MARKS: Final = frozenset({"knees_better", "side_difference_left", "return_rate", "comfort_gained", "funnel"})
_BLANKS: Final = re.compile(r"[\s\u00a0\u202f]+")


@dataclass(frozen=True)
class Said:
    """One piece of text and where it stands; `kind`: text, bold (a table's cell in bold) or mark (of a chart).

    is_answer: a headline, which answers a page's or a question's own question.
    """

    place: str
    kind: str
    text: str
    is_answer: bool = False


def pieces(node: Any, place: str, *, is_first: bool, chart: str = "") -> Iterator[Said]:
    """The pieces of a tree in order; `is_first`: headlines in it are answers; `chart`: the name of the chart around it."""
    if isinstance(node, list | tuple):
        for part in node:
            yield from pieces(part, place, is_first=is_first, chart=chart)
    elif isinstance(node, str):
        if node.strip():
            yield Said(place, "text", plain(node))
    elif hasattr(node, "to_plotly_json"):
        yield from _of_component(node, place, is_first=is_first, chart=chart)


def _of_component(node: Any, place: str, *, is_first: bool, chart: str) -> Iterator[Said]:
    held = vars(node)
    classes = set(str(held.get("className") or "").split())
    if classes & _LEFT_OUT:
        return
    if label := held.get("aria-label"):
        yield Said(place, "text", plain(label))
    children, kind = held.get("children"), type(node).__name__
    if kind == "Graph":
        yield from _marks(node.figure, place, chart)
    elif kind not in _PIECES:
        yield from pieces(children, place, is_first=is_first, chart=held.get("data-chart", chart))
    elif text := plain(flat(children)):
        yield Said(place, "text", text, is_answer=is_first and "headline" in classes)
        if kind == "Td" and _has_bold(children):
            yield Said(place, "bold", text)


def _has_bold(node: Any) -> bool:
    if isinstance(node, list | tuple):
        return any(_has_bold(part) for part in node)
    return type(node).__name__ in ("Strong", "B") or (
        hasattr(node, "to_plotly_json") and _has_bold(getattr(node, "children", None))
    )


def _marks(figure: dict[str, Any], place: str, chart: str) -> Iterator[Said]:
    for trace in figure["data"] if chart in _CHARTS_WITH_MARKS else ():
        symbol = (trace.get("marker") or {}).get("symbol") or ()
        symbols = {symbol} if isinstance(symbol, str) and len(trace["x"]) else set() if isinstance(symbol, str) else set(symbol)
        for mark in sorted({name.removesuffix("-open") for name in symbols} & _MARKS):
            yield Said(place, "mark", f"{chart}: {mark}")


def flat(node: Any) -> str:
    """The text of a tree; what stands in a line or an element of its own is parted by a blank."""
    if isinstance(node, list | tuple):
        return "".join(flat(part) for part in node)
    if node is None or isinstance(node, bool):
        return ""
    if not hasattr(node, "to_plotly_json"):
        return str(node)
    apart = " " if type(node).__name__ in _APART else ""
    return f"{apart}{flat(getattr(node, 'children', None))}{apart}"


def plain(text: str) -> str:
    """Text with ordinary blanks and minus signs."""
    return _BLANKS.sub(" ", text).replace("\N{MINUS SIGN}", "-").strip()

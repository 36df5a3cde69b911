"""What stays of a screen on paper: words, tables and drawings; no controls, and nothing that only leads somewhere else."""

from typing import Any, Final

from dashboard.components.table import NAMES_RIDERS

# Controls, and what leads somewhere or is told elsewhere in the report.
_CONTROLS: Final = ("button", "nav", "input", "form", "store", "upload")
_CLASSES: Final = frozenset(
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
        "next-steps",
        "way-to",
    }
)
# Charts of the short report that stand in pairs.
SMALL: Final = "is-small"
# The points of a curve, one a row, are for a file: what a chart's own numbers may take on paper.
_MOST_ROWS: Final = 24
_LINKS: Final = ("Link", "A")


def on_paper(shown: Any, *, with_riders: bool, folded: bool = True, drawn: bool = True) -> Any:
    """What a place shows, as paper takes it. The components are altered.

    `with_riders`: keeps the tables that name riders or their fits. `folded`: keeps what is folded on the screen, such as the
    table under a chart. `drawn`: keeps the charts.
    """
    left_out = _CLASSES | (frozenset() if with_riders else {NAMES_RIDERS}) | (frozenset() if drawn else {"chart-drawing"})
    return _kept(shown, left_out, folded=folded)


def of_class(node: Any, name: str) -> list[Any]:
    """Every component of a class in a tree."""
    if isinstance(node, list | tuple):
        return [found for part in node for found in of_class(part, name)]
    if not hasattr(node, "to_plotly_json"):
        return []
    return [node] if name in classes(node) else of_class(getattr(node, "children", None), name)


def classes(node: Any) -> set[str]:
    """The names of a component's classes."""
    return set(str(getattr(node, "className", None) or "").split())


def words_of(node: Any) -> str:
    """The words of a tree, without those that are there for reading aloud alone."""
    if isinstance(node, list | tuple):
        return "".join(map(words_of, node))
    if not hasattr(node, "to_plotly_json"):
        return "" if node is None or isinstance(node, bool) else str(node)
    return "" if "for-readers" in classes(node) else words_of(getattr(node, "children", None))


def _kept(node: Any, left_out: frozenset[str], *, folded: bool) -> Any:
    if isinstance(node, list | tuple):
        parts = [_kept(part, left_out, folded=folded) for part in node]
        return [part for part in parts if part is not None]
    if not hasattr(node, "to_plotly_json"):
        return node
    kind = type(node).__name__
    if kind.lower() in _CONTROLS or classes(node) & left_out or (kind == "Details" and not folded):
        return None
    if kind in ("P", "Li") and _only_leads(node.children):
        return None
    # Beside another chart a table has no room.
    children = _kept(getattr(node, "children", None), left_out, folded=folded and "is-double" not in classes(node))
    if "chart-more" in classes(node):
        # What unfolds the numbers is no heading of theirs: the table has its caption.
        children = [part for part in children if type(part).__name__ != "Summary" and _n_rows(part) <= _MOST_ROWS]
    if kind in ("Ul", "Details", "Section") and not _holds(children):
        return None
    node.children = children
    return node


def _n_rows(node: Any) -> int:
    """How many rows stand in a tree."""
    if isinstance(node, list | tuple):
        return sum(map(_n_rows, node))
    if not hasattr(node, "to_plotly_json"):
        return 0
    return (type(node).__name__ == "Tr") + _n_rows(getattr(node, "children", None))


def _only_leads(children: Any) -> bool:
    """Whether a line is one link, which paper cannot follow, and nothing else."""
    parts = children if isinstance(children, list | tuple) else [children]
    told = [part for part in parts if part is not None and (not isinstance(part, str) or part.strip())]
    return bool(told) and all(type(part).__name__ in _LINKS for part in told)


def _holds(children: Any) -> bool:
    """Whether something is left beside what unfolds it."""
    parts = children if isinstance(children, list | tuple) else [children]
    return any(part is not None and type(part).__name__ != "Summary" for part in parts)

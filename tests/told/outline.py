"""A page, or a picture, as lines of plain text: every word, address, cell and mark that a reader meets, and no looks.

Texts written in this form stand beside the tests, so that a page is compared with what somebody wrote down and read.
"""

import json
from collections.abc import Iterator
from dataclasses import asdict, fields
from typing import Any

from dashboard.figures.theme import PALETTES
from dashboard.questions.selection.answers import Answer
from tests.mutants.changes import LOOKS

# What stands within a line of text.
_INLINE = {"Span", "A", "Link", "Strong", "Small", "Em", "B", "I", "Br", "Sup", "Sub", "Abbr", "Time", "Label", "Button"}
# How an element looks, or what the browser does with it.
_UNTOLD = {
    "children",
    "className",
    "style",
    "tabIndex",
    "role",
    "config",
    "responsive",
    "figure",
    "target",
    "refresh",
    "download",
}
# What all pictures share (tests/unit/test_figures_theme.py).
_SHARED = {
    "paper_bgcolor", "plot_bgcolor", "hoverlabel", "showlegend", "dragmode", "autosize", "meta", "fixedrange", "showline",
    "gridcolor", "ticks", "tickfont", "textfont", "standoff", "cliponaxis",
}  # fmt: skip
_COLOURS = {colour: name for name, colour in asdict(PALETTES["light"]).items()}
_BLANKS = {ord("\N{NARROW NO-BREAK SPACE}"): " ", ord("\N{NO-BREAK SPACE}"): " ", ord("\N{WORD JOINER}"): ""}


def outline(shown: Any) -> list[str]:
    """The lines of a component, a list of them, or text."""
    return [line.replace("\n", "\\n") for line in _blocks(shown) if line.strip()]


def _blocks(node: Any) -> Iterator[str]:
    if isinstance(node, list | tuple):
        yield from _parts(list(node))
        return
    kind = _kind(node)
    if kind in _INLINE:
        yield _line([node])
    elif kind == "Table":
        yield from _table(node)
    elif kind == "Graph":
        yield from picture(node.figure)
    elif kind:
        children = _children(node)
        told = _attributes(node)
        if kind == "Div" or any(not _is_inline(child) for child in children):
            if kind != "Div" or told:
                yield f"{kind.lower()}{told}"
            yield from _parts(children)
        else:
            yield f"{kind.lower()}{told}: {_line(children)}"


def _parts(children: list[Any]) -> Iterator[str]:
    """Children in their order, those within a line together."""
    held: list[Any] = []
    for child in children:
        if _is_inline(child):
            held.append(child)
            continue
        if held:
            yield _line(held)
            held = []
        yield from _blocks(child)
    if held:
        yield _line(held)


def _line(parts: list[Any]) -> str:
    return " ".join("".join(_inline(part) for part in parts).translate(_BLANKS).split())


def _inline(node: Any) -> str:
    if isinstance(node, list | tuple):
        return "".join(_inline(part) for part in node)
    kind = _kind(node)
    if not kind:
        return "" if node is None or isinstance(node, bool) else str(node)
    if kind == "Br":
        return " / "
    words = "".join(_inline(child) for child in _children(node))
    if kind == "Strong":
        words = f"*{words}*"
    told = _attributes(node)
    return f"[{words}]{told}" if told else words


def _is_inline(node: Any) -> bool:
    if isinstance(node, list | tuple):
        return all(_is_inline(part) for part in node)
    kind = _kind(node)
    return not kind or (kind in _INLINE and all(_is_inline(child) for child in _children(node)))


def _attributes(node: Any) -> str:
    told = {
        name: value for name, value in vars(node).items() if name not in _UNTOLD and not name.startswith(("_", "available"))
    }
    told = {name: value for name, value in told.items() if value is not None and name in _given(node)}
    if told.get("tabIndex") == 0:
        del told["tabIndex"]
    return f"{{{', '.join(f'{name}={_value(value)}' for name, value in told.items())}}}" if told else ""


def _given(node: Any) -> set[str]:
    known = set(type(node)._prop_names) if hasattr(type(node), "_prop_names") else set()
    return known | {name for name in vars(node) if name.startswith(("data-", "aria-"))} | set(getattr(node, "_prop_names", ()))


def _value(value: Any) -> str:
    return str(value).translate(_BLANKS) if isinstance(value, str) else json.dumps(value, default=outline, ensure_ascii=False)


def _kind(node: Any) -> str:
    return type(node).__name__ if hasattr(node, "to_plotly_json") else ""


def _children(node: Any) -> list[Any]:
    children = getattr(node, "children", None)
    return list(children) if isinstance(children, list | tuple) else [] if children is None else [children]


def _table(table: Any) -> Iterator[str]:
    for part in _children(table):
        if _kind(part) == "Caption":
            yield f"table: {_line(_children(part))}"
        elif _kind(part):
            for row in _children(part):
                key = f"{vars(row)['data-row']}: " if "data-row" in vars(row) else ""
                yield f"  {key}| {' | '.join(_heading(cell) for cell in _children(row))} |"


def _heading(cell: Any) -> str:
    """A cell; of a heading, `→` where its column stands flush right and `…` where it is wide."""
    words, looks = _line(_children(cell)), str(getattr(cell, "className", None) or "") if _kind(cell) == "Th" else ""
    return f"{words}{' →' * ('is-number' in looks)}{' …' * ('is-wide' in looks)}"


def picture(figure: dict[str, Any]) -> list[str]:
    """The marks of a figure, a line a trace, a shape and a note; the axes with what is printed at them."""
    drawn = figure["layout"]
    lines = [f"  mark {_drawn(trace)}" for trace in figure["data"]]
    lines += [f"  {name} {_drawn(drawn[name])}" for name in drawn if name.startswith(("xaxis", "yaxis"))]
    lines += [f"  shape {_drawn(shape)}" for shape in drawn.get("shapes", ())]
    lines += [f"  note {_drawn(one)}" for one in drawn.get("annotations", ())]
    return lines + [
        f"  {name} {_drawn(value)}"
        for name, value in drawn.items()
        if name not in _SHARED | LOOKS | {"shapes", "annotations"} and not name.startswith(("xaxis", "yaxis"))
    ]


def _drawn(part: Any) -> str:
    if isinstance(part, dict):
        told = {name: _drawn(value) for name, value in part.items() if name not in _SHARED | LOOKS | {"showticklabels", "pad"}}
        colour = [_COLOURS.get(part[name], "") for name in ("color", "fillcolor") if isinstance(part.get(name), str)]
        named = [f"{name} {value}" for name, value in told.items() if value]
        return (
            ", ".join(named + [one for one in colour if one])
            if "type" in part
            else f"({', '.join(named + [one for one in colour if one])})"
        )
    if isinstance(part, list | tuple):
        return f"[{' '.join(_drawn(value) for value in part)}]"
    if isinstance(part, bool) or part is None:
        return "yes" if part else "–" if part is None else "no"
    if isinstance(part, float | int):
        return f"{part:.5g}" if isinstance(part, float) else str(part)
    return _COLOURS.get(part, str(part).translate(_BLANKS))


# What hangs on when a warehouse was made.
_OF_A_DAY = {"loaded_at"}


def answer_told(answer: Answer, most: int = 12) -> list[str]:
    """An answer's own words, then each of its lists: its columns, and its rows, `most` at most, to three digits."""
    lists = answer.lists()
    lines = [
        f"{one.name}: {_cell(getattr(answer, one.name))}"
        for one in fields(answer)
        if one.name not in lists and one.name != "selection"
    ]
    for name, row in lists.items():
        rows = getattr(answer, name)
        lines.append(f"{name}, {len(rows)}: {' | '.join(one.name for one in fields(row) if one.name not in _OF_A_DAY)}")
        told = [part.name for part in fields(row) if part.name not in _OF_A_DAY]
        lines += [f"  {' | '.join(_cell(getattr(one, part)) for part in told)}" for one in rows[:most]]
    return [line.replace("\n", "\\n") for line in lines]


def _cell(value: Any) -> str:
    if isinstance(value, float):
        return f"{value:.3g}" if abs(value) >= 1e-4 else "0"
    if isinstance(value, dict):
        return "; ".join(f"{name} = {_cell(part)}" for name, part in value.items())
    if isinstance(value, tuple | list):
        return "; ".join(_cell(part) for part in value)
    return "–" if value is None else str(value).translate(_BLANKS)

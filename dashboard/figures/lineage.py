"""Where figures come from: lines from exported tables, by those made from them, to the questions; one question's strong."""

from collections.abc import Iterable, Iterator
from typing import Any, Final

from dashboard.figures.names import plain, table_name
from dashboard.figures.template import axis, layout
from dashboard.figures.theme import CHART_TEXT_PX, palette
from dashboard.figures.typeface import room_px
from dashboard.lineage.graph import Lineage
from shared.statistics.wording import counted

_LABEL_PX: Final = CHART_TEXT_PX - 1
_ROW_PX: Final = 25
# Between a dot and its name.
_AT_DOT_PX: Final = 14
_BESIDE_EXPORTED: Final = 0.3
_Place = tuple[float, float]


def lineage_figure(graph: Lineage, question: str, theme: str | None) -> dict[str, Any]:
    """Three groups of dots with their names, and a line for each table that another one, or a question, is made from."""
    colours, places, behind = palette(theme), _places(graph), graph.behind(question)
    lines = [*_lines(graph)]
    strong = [(one, other) for one, other in lines if one in behind and (other in behind or other == f"?{question}")]
    return {
        "data": [
            _drawn([line for line in lines if line not in strong], places, colours.line, 0.6),
            _drawn(strong, places, colours.accent, 1.8),
            *(_dots(names, places, behind | {f"?{question}"}, side, theme) for side, names in _groups(graph).items()),
        ],
        "layout": layout(
            theme,
            height=_ROW_PX * max(len(graph.exported), len(graph.asked)) + 30,
            margin=(
                room_px(map(_name, graph.exported), _LABEL_PX, gap_px=_AT_DOT_PX),
                room_px((f"<b>{_name(f'?{one.question}')}</b>" for one in graph.asked), _LABEL_PX, gap_px=_AT_DOT_PX),
                18,
                12,
            ),
            showlegend=False,
            annotations=_names_of_made(graph, places, behind, theme),
            xaxis=axis(theme, range=[0, 1], showticklabels=False, showgrid=False),
            yaxis=axis(theme, range=[1.02, -0.03], showticklabels=False, showgrid=False),
        ),
    }


def _groups(graph: Lineage) -> dict[str, list[str]]:
    """Names of dots by the side on which each is named; a question's begins with a question mark, as no table's does."""
    return {
        "middle left": list(graph.exported),
        "top center": list(graph.made),
        "middle right": [f"?{one.question}" for one in graph.asked],
    }


def _places(graph: Lineage) -> dict[str, _Place]:
    exported, made, asked = _groups(graph).values()
    deepest = max((graph.depth(table) for table in made), default=1)
    return {
        **{name: (0.0, _share(n, len(exported))) for n, name in enumerate(exported)},
        **{name: (0.15 + 0.6 * graph.depth(name) / (deepest + 1), _share(n, len(made))) for n, name in enumerate(made)},
        **{name: (1.0, _share(n, len(asked))) for n, name in enumerate(asked)},
    }


def _share(n: int, of: int) -> float:
    return (n + 0.5) / of


def _lines(graph: Lineage) -> Iterator[tuple[str, str]]:
    for table, inputs in graph.made.items():
        yield from ((one, table) for one in inputs)
    for one in graph.asked:
        yield from ((table, f"?{one.question}") for table in one.reads)


def _drawn(lines: list[tuple[str, str]], places: dict[str, _Place], colour: str, width: float) -> dict[str, Any]:
    """One trace of all lines, each ended by a gap."""
    known = [line for line in lines if places.keys() >= {*line}]
    ends = [end for one, other in known for end in (places[one], places[other], (None, None))]
    return {
        "type": "scatter",
        "mode": "lines",
        "x": [x for x, _ in ends],
        "y": [y for _, y in ends],
        "line": {"color": colour, "width": width},
        "hoverinfo": "skip",
    }


def _dots(names: list[str], places: dict[str, _Place], strong: frozenset[str], side: str, theme: str | None) -> dict[str, Any]:
    colours = palette(theme)
    return {
        "type": "scatter",
        "mode": "markers" if side == "top center" else "markers+text",
        "x": [places[name][0] for name in names],
        "y": [places[name][1] for name in names],
        "text": [f"<b>{_name(name)}</b>" if name in strong and name[0] == "?" else _name(name) for name in names],
        "textposition": side,
        "textfont": {"size": _LABEL_PX, "color": [colours.ink if name in strong else colours.muted for name in names]},
        "marker": {
            "size": 8,
            "color": [colours.accent if name in strong else colours.surface for name in names],
            "line": {"color": [colours.accent if name in strong else colours.line for name in names], "width": 1.5},
        },
        "cliponaxis": False,
        "hoverinfo": "skip",
    }


def _names_of_made(
    graph: Lineage, places: dict[str, _Place], strong: frozenset[str], theme: str | None
) -> list[dict[str, Any]]:
    """The names in the middle, each over its dot on a ground of its own, since lines run there from both sides."""
    colours = palette(theme)
    return [
        {
            "x": places[name][0],
            "y": places[name][1],
            "text": _name(name),
            "showarrow": False,
            # Beside the exported tables it begins at its dot, so that on a phone it covers none of theirs.
            "xanchor": "left" if places[name][0] < _BESIDE_EXPORTED else "center",
            "yshift": _AT_DOT_PX,
            "bgcolor": colours.surface,
            "borderpad": 0,
            "font": {"size": _LABEL_PX, "color": colours.ink if name in strong else colours.muted},
        }
        for name in graph.made
    ]


def _name(name: str) -> str:
    return plain(name[1:]).capitalize() if name[0] == "?" else table_name(name)


def finding(graph: Lineage, question: str) -> str:
    """How much of what is exported a question rests on."""
    n = len(graph.behind(question) & {*graph.exported})
    return f"{plain(question).capitalize()} rests on {n} of {counted(len(graph.exported), 'exported table')}"


def alternative(graph: Lineage, question: str) -> str:
    """The strong lines in words."""
    behind = graph.behind(question)
    made = (f"{table_name(table)} from {_listed(inputs)}" for table, inputs in graph.made.items() if table in behind)
    reads = next((one.reads for one in graph.asked if one.question == question), ())
    return (
        f"Lines from exported tables to questions. {plain(question).capitalize()} reads {_listed(reads)}; of these tables, "
        f"{'; '.join(made)}."
    )


def _listed(tables: Iterable[str]) -> str:
    return ", ".join(map(table_name, tables))

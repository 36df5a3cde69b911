"""The knee patterns at arrival against those at departure: a grid of counts in one hue, and how each pattern changed."""

import math
from collections.abc import Sequence
from typing import Any, Final

from dashboard.components import html
from dashboard.components.address import View
from dashboard.components.chart import reading
from dashboard.components.number import machine_value
from dashboard.components.page import Desk, PageView, Show
from dashboard.components.table import csv_link, rows_csv, table
from dashboard.figures import symmetry
from dashboard.figures.names import plain
from dashboard.figures.theme import number
from dashboard.pages.symmetry import ids, tables
from dashboard.pages.symmetry.asked import Asked, ask
from dashboard.questions.door.counted_rows import is_few
from dashboard.questions.selection.scope import counted
from dashboard.questions.symmetry.answers_asymmetry import Asymmetry, FlowRow

PATH = "patterns"
PARTS = ("patterns", "flow")
# Steps of the shade, from none to the fullest cell.
_SHADES: Final = 5


def flow_title(flow: Sequence[FlowRow]) -> str:
    """What the grid shows: how many kept their pattern, and how many came to neutral."""
    n = sum(row.n_riders for row in flow)
    if not n:
        return "Knee patterns: no rider has both knees recorded at both ends"
    if any(is_few(row.n_riders) for row in flow):
        return "Knee patterns at arrival and at departure, where enough riders share them"
    kept = sum(row.n_riders for row in flow if row.arrival_pattern == row.departure_pattern)
    reached = sum(row.n_riders for row in flow if row.departure_pattern == "neutral" != row.arrival_pattern)
    return f"{kept:,} of {counted(n, 'rider')} left with the pattern they came with; {counted(reached, 'other')} left neutral"


def flow_grid(flow: Sequence[FlowRow]) -> html.Div:
    """Draws the grid: a row a pattern at arrival, a column a pattern at departure, totals at the edges."""
    cells = {(row.arrival_pattern, row.departure_pattern): row.n_riders for row in flow}
    patterns = list(dict.fromkeys(row.arrival_pattern for row in flow))
    most = max([1, *cells.values()])
    caption = "Riders by pattern at arrival (rows), at departure (columns)"
    totals = [sum(cells[row, column] for row in patterns) for column in patterns]
    head = [
        html.Th("At arrival", scope="col"),
        *(html.Th(plain(name), scope="col", className="is-number") for name in patterns),
    ]
    # What is not told cannot be had from the totals either.
    is_whole = not any(is_few(n) for n in cells.values())
    foot = [html.Th("At departure", scope="row"), *(_total(n) for n in (*totals, sum(totals)))] if is_whole else []
    edge = [html.Th("all", scope="col", className="is-number")] if is_whole else []
    made = html.Table(
        [
            html.Caption(caption),
            html.Thead(html.Tr([*head, *edge])),
            html.Tbody([_pattern_row(name, patterns, cells, most, is_whole=is_whole) for name in patterns]),
            html.Tfoot(html.Tr(foot)) if foot else None,
        ]
    )
    frame = html.Div(made, className="table-frame heat", role="region", tabIndex=0, **{"aria-label": caption})
    return html.Div([frame, rows_csv(made)], className="table")


def _pattern_row(
    pattern: str, patterns: Sequence[str], cells: dict[tuple[str, str], int], most: int, *, is_whole: bool
) -> html.Tr:
    counts = [cells[pattern, column] for column in patterns]
    drawn_cells = [_cell(pattern, column, n, most) for column, n in zip(patterns, counts, strict=True)]
    return html.Tr(
        [html.Th(plain(pattern).capitalize(), scope="row"), *drawn_cells, *([_total(sum(counts))] if is_whole else [])]
    )


def _cell(pattern: str, column: str, n: int, most: int) -> html.Td:
    # The root of the count: the few full cells would leave all others alike.
    shade = 0 if n == 0 else min(_SHADES, 1 + int(_SHADES * math.sqrt(n / most)))
    kept = " is-kept" if pattern == column else ""
    values = {"data-flow": f"{pattern}-{column}", "data-n-riders": machine_value(n)}
    return html.Td(f"{n:,}", className=f"is-number shade-{shade}{kept}", **values)


def _total(n: int) -> html.Td:
    return html.Td(f"{n:,}", className="is-number is-total")


def patterns(asked: Asked, answer: Asymmetry) -> list[Any]:
    """The grid with its words beside it, and the same riders pattern by pattern."""
    knee = asked.settings.knee
    sway = number(knee.high_sway_quantile, "share")
    return [
        html.Div(
            [
                html.Div(
                    [html.H2(flow_title(answer.flow), className="chart-title"), flow_grid(answer.flow)], className="sheet"
                ),
                reading(*asked.words("patterns", neutral=symmetry.short(knee.neutral_within_deg, "deg"), sway=sway)),
            ],
            className="with-words",
        ),
        csv_link(asked.csv("flow"), "riders by pattern at arrival and departure"),
        table(
            "How each pattern changed in the same riders",
            tables.by_pattern(asked.level),
            [row for row in answer.patterns if row.level is None],
            row_key="finding",
        ),
        reading(*asked.words("pattern-changes")),
    ]


def shows(desk: Desk) -> dict[str, Show]:
    def show(view: View, theme: str | None) -> Any:
        return patterns(*ask(desk, view, theme, PARTS))

    return {ids.PATTERNS: show}


VIEW = PageView(PATH, "Patterns", lambda: [ids.PATTERNS], shows)

"""The grid of supports and foot types (or the levels of another split), for one outcome."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from dash import html

from dashboard.components.chart import reading
from dashboard.components.number import machine_value
from dashboard.components.page import Desk
from dashboard.components.table import csv_link
from dashboard.components.text import paragraphs
from dashboard.figures.names import OUTCOMES, SUPPORTS, plain
from dashboard.figures.theme import interval, number
from dashboard.questions.answers import EffectRow
from dashboard.questions.selection import Selection


def grid(
    rows: Sequence[EffectRow], outcome: str, split: str, desk: Desk, selection: Selection, text: tuple[str, ...]
) -> list[Any]:
    """Heading, grid, how it is read, CSV; empty where the answer holds no level."""
    cells = {(row.level, row.support): row for row in rows if row.outcome == outcome and row.split == split}
    levels = list(dict.fromkeys(level for level, _ in cells))
    if not levels:
        return []
    caption = f"{OUTCOMES[outcome].name} by {plain(split)}"
    return [
        html.H2(grid_title(list(cells.values()), outcome, split), className="section-title"),
        html.Div(
            html.Table([html.Caption(caption), _head(split), html.Tbody([_level(level, cells) for level in levels])]),
            className="table-frame grid",
            role="region",
            tabIndex=0,
            **{"aria-label": caption},
        ),
        reading(*paragraphs(text, level=number(desk.level, "share"))),
        csv_link(desk.csv("effects", "effects", replace(selection, split=split)), f"effects by {plain(split)}"),
    ]


def grid_title(cells: Sequence[EffectRow], outcome: str, split: str) -> str:
    """How much of the grid can be told."""
    told = sum(cell.pooled is not None for cell in cells)
    if not told:
        return f"{OUTCOMES[outcome].name} by {plain(split)}: no figure yet in any cell"
    return f"{OUTCOMES[outcome].name} by {plain(split)}: enough changes in {told} of {len(cells)} cells"


def _head(split: str) -> html.Thead:
    return html.Thead(
        html.Tr(
            [
                html.Th(plain(split).capitalize(), scope="col"),
                *(html.Th(name, scope="col") for name in SUPPORTS.values()),
            ]
        )
    )


def _level(level: str | None, cells: dict[tuple[str | None, str], EffectRow]) -> html.Tr:
    return html.Tr(
        [html.Th(plain(level), scope="row"), *(_cell(cells.get((level, support))) for support in SUPPORTS)],
        **{"data-row": level},
    )


def _cell(row: EffectRow | None) -> html.Td:
    if row is None:
        return html.Td("no such change", className="is-missing")
    values = {f"data-{name}": machine_value(getattr(row, name)) for name in ("pooled", "shrunk", "support")}
    changes = f"{row.n_changes:,} {'change' if row.n_changes == 1 else 'changes'}"
    if row.pooled is None or row.pooled_low is None or row.pooled_high is None:
        words = "not enough yet" if "not enough yet" in row.words else "no figure"
        return html.Td([words, html.Br(), html.Small(changes)], className="is-missing", title=row.words, **values)
    own = (row.pooled, row.pooled_low, row.pooled_high)
    if row.shrunk is None or row.shrunk_low is None or row.shrunk_high is None:
        return html.Td([*_figure(*own, row.unit), html.Br(), html.Small(changes)], **values)
    alone = f"alone {number(row.pooled, row.unit, effect=True)}, {changes}"
    shrunk = _figure(row.shrunk, row.shrunk_low, row.shrunk_high, row.unit)
    return html.Td([*shrunk, html.Br(), html.Small(alone)], **values)


def _figure(value: float, low: float, high: float, unit: str) -> list[Any]:
    """The estimate, bold where its interval lies on one side of zero, and the interval below it."""
    printed = number(value, unit, effect=True)
    shown = html.Strong(printed) if low > 0 or high < 0 else printed
    return [shown, html.Br(), html.Small(interval(low, high, unit, effect=True))]

"""What came in: rows of each load by what became of them, and waiting and rejected rows by reason, whole and by load."""

import math
from collections.abc import Sequence
from datetime import date
from typing import Any

from dashboard.figures.names import plain, table_name
from dashboard.figures.template import axis, layout, note
from dashboard.figures.theme import CHART_TEXT_PX, Palette, bare_number, day, palette
from dashboard.questions.data.answers_data import LeftOutRow, LoadRow, ReasonRow

LOADS_SHOWN = 24
LABELS_SHOWN = 5
REASONS_SHOWN = 8
# What becomes of a row, with the colour's role and the pattern that tells it without colour.
FATES = (
    ("stored", "accent", ""),
    ("replaced", "third", "/"),
    ("unchanged", "grid", ""),
    ("waiting", "fourth", "x"),
    ("rejected", "second", "."),
)
# What a reason is told of: a row that is not in the figures, or a cell of a row that is.
_STATES = (("rejected", "second", "."), ("cell left out", "third", "/"), ("waiting", "fourth", "x"))

# The rules by what is wrong with the row.
REASONS = {
    "range": "outside the limits",
    "number": "no number",
    "whole_number": "no whole number",
    "code": "unknown code",
    "date": "unusable date",
    "required": "empty cell",
    "orphan": "unknown rider or fitter",
    "duplicate_key": "same key twice",
    "attended_date": "attended, no date",
    "booked_order": "dates out of order",
    "no_outcome": "nothing measured",
    "cells": "cells out of place",
    "no_fit": "no fit of the rider then",
    "several_fits": "several fits that day",
    "order": "time unreadable",
    "earlier": "before captures loaded already",
    "waiting": "waiting for a session",
}
# The most frequent rules of rejection on their own, with role and pattern; the others together.
_RULES = (("second", ""), ("accent", "/"), ("third", "\\"), ("muted", "."))
_OTHER_RULES = ("line", "-")
# Name, rows by load, and look (role and pattern) of a layer of stacked bars.
_Layer = tuple[str, list[int], tuple[str, str]]


def reason_name(rule: str) -> str:
    """Says in words what is wrong with a row that breaks a rule."""
    return REASONS.get(rule, plain(rule))


def loads_figure(rows: Sequence[LoadRow], theme: str | None) -> dict[str, Any]:
    """Stacked bars, one a load, of the latest loads in the order of time."""
    latest = standing(rows)[-LOADS_SHOWN:]
    layers = [(fate, [getattr(row, fate) for row in latest], (role, shape)) for fate, role, shape in FATES]
    return _stacked(latest, layers, theme, title="rows", height=324, above=34)


def standing(rows: Sequence[LoadRow]) -> list[LoadRow]:
    """The loads that were not taken back."""
    return [row for row in rows if row.undone_at is None]


def left_out_figure(loads: Sequence[LoadRow], rows: Sequence[LeftOutRow], theme: str | None) -> dict[str, Any]:
    """Stacked bars, one a load, of the rows it left out by reason: the most frequent reasons, the others, waiting rows."""
    latest = standing(loads)[-LOADS_SHOWN:]
    return _stacked(latest, _layers(latest, rows), theme, title="rows left out", height=320, above=60)


def _stacked(
    loads: Sequence[LoadRow], layers: Sequence[_Layer], theme: str | None, *, title: str, height: int, above: int
) -> dict[str, Any]:
    """A bar a load, its layers from below; `above`: room for the names of the layers."""
    colours = palette(theme)
    labels = [str(load.load_id) for load in loads]
    return {
        "data": [
            {
                "type": "bar",
                "name": name,
                "x": labels,
                "y": heights,
                "width": 0.5,
                "marker": {
                    "color": getattr(colours, role),
                    "line": {"color": colours.line if role == "grid" else getattr(colours, role), "width": 1},
                    "pattern": {"shape": shape, **_hatching(colours)},
                },
                "text": [
                    f"<b>Load {load.load_id}</b>, {_day_of(load)}<br>{n:,} {name}"
                    for load, n in zip(loads, heights, strict=True)
                ],
                "textposition": "none",
                "hoverinfo": "text",
            }
            for name, heights, (role, shape) in layers
        ],
        "layout": layout(
            theme,
            height=height,
            margin=(62, 10, above, 58),
            barmode="stack",
            showlegend=True,
            legend={"orientation": "h", "x": 0, "y": 1.02, "yanchor": "bottom", "traceorder": "normal"},
            xaxis=axis(theme, type="category", showgrid=False, **_days(loads)),
            yaxis=axis(theme, nticks=5, tickformat=",", title=title, rangemode="tozero"),
        ),
    }


def _layers(loads: Sequence[LoadRow], rows: Sequence[LeftOutRow]) -> list[_Layer]:
    """Name, rows by load, and look of each layer of the stack."""
    here = {load.load_id for load in loads}
    totals: dict[str, int] = {}
    for row in rows:
        if row.load_id in here and row.state == "rejected":
            totals[row.rule] = totals.get(row.rule, 0) + row.n
    order = sorted(totals, key=lambda rule: (-totals[rule], rule))
    first, others = order[: len(_RULES)], order[len(_RULES) :]

    def heights(*rules: str) -> list[int]:
        return [sum(row.n for row in rows if row.load_id == load.load_id and row.rule in rules) for load in loads]

    layers = [(reason_name(rule), heights(rule), look) for rule, look in zip(first, _RULES, strict=False)]
    if others:
        layers.append(("other reasons", heights(*others), _OTHER_RULES))
    waiting = heights("waiting")
    if any(waiting):
        layers.append((reason_name("waiting"), waiting, FATES[3][1:]))
    return layers


def reasons_figure(rows: Sequence[ReasonRow], theme: str | None, *, shown: int = REASONS_SHOWN) -> dict[str, Any]:
    """Horizontal bars, one a reason and table, the most frequent at the top, `shown` of them at most."""
    colours = palette(theme)
    reasons = most_frequent(rows)[:shown]
    top = max((row.n for row in reasons), default=1)
    units = "rows, or cells left out" if any(row.state == "cell left out" for row in reasons) else "rows"
    return {
        # One trace a state: a pattern takes no list of colours.
        "data": [_bars(reasons, *state, colours) for state in _STATES],
        "layout": layout(
            theme,
            height=34 * max(len(reasons), 1) + 52,
            margin=(10, 16, 6, 40),
            xaxis=axis(theme, nticks=5, range=[0, top * 1.12], tickformat=",", title=units),
            yaxis=axis(
                theme,
                range=[len(reasons) - 0.4, -0.6],
                tickvals=list(range(len(reasons))),
                ticktext=[_label(row) for row in reasons],
                tickfont={"color": colours.ink, "size": CHART_TEXT_PX - 1},
                showgrid=False,
                automargin=True,
                ticklabelstandoff=8,
            ),
            annotations=[
                note(
                    bare_number(row.n, "count"),
                    x=row.n,
                    y=place,
                    xanchor="left",
                    xshift=6,
                    font={"size": CHART_TEXT_PX - 1},
                )
                for place, row in enumerate(reasons)
            ],
        ),
    }


def _bars(rows: Sequence[ReasonRow], state: str, role: str, shape: str, colours: Palette) -> dict[str, Any]:
    placed = [(place, row) for place, row in enumerate(rows) if row.state == state]
    return {
        "type": "bar",
        "orientation": "h",
        "x": [row.n for _, row in placed],
        "y": [place for place, _ in placed],
        "width": 0.55,
        "marker": {"color": getattr(colours, role), "pattern": {"shape": shape, **_hatching(colours)}},
        "text": [f"<b>{_label(row)}</b><br>{row.n:,} {state}" for _, row in placed],
        "textposition": "none",
        "hoverinfo": "text",
    }


def most_frequent(rows: Sequence[ReasonRow]) -> list[ReasonRow]:
    """Picks the most frequent reasons, which are drawn."""
    return sorted(rows, key=lambda row: (-row.n, row.state, row.table, row.rule))[:REASONS_SHOWN]


def _day_of(row: LoadRow) -> str:
    return day(date.fromisoformat(row.loaded_at[:10]))


def _days(rows: Sequence[LoadRow]) -> dict[str, Any]:
    """Number and day of a load under its bar; of many loads, only some, so that a phone shows them upright."""
    every = math.ceil(len(rows) / LABELS_SHOWN) or 1
    places = range(0, len(rows), every)
    # Three lines: the load, day and month, the year.
    labels = [f"load {rows[place].load_id}<br>" + "<br>".join(_day_of(rows[place]).rsplit(" ", 1)) for place in places]
    # By name: a number would be taken for the name of a category before it is taken for a place.
    names = [str(rows[place].load_id) for place in places]
    # A few loads stay slim bars at the left.
    return {"tickvals": names, "ticktext": labels, "tickangle": 0, "range": [-0.5, max(len(rows), 6) - 0.5]}


def _hatching(colours: Palette) -> dict[str, Any]:
    return {"fillmode": "overlay", "fgcolor": colours.surface, "fgopacity": 0.8, "size": 7, "solidity": 0.2}


def _label(row: ReasonRow) -> str:
    """Writes what is wrong, and below it the table, and whether cells alone were left out."""
    cells = ", cells alone" if row.state == "cell left out" else ""
    return f"{reason_name(row.rule)}<br>{table_name(row.table)}{cells}"

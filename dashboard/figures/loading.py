"""What came in: rows of each load by what became of them, and waiting and rejected rows by reason."""

import math
from collections.abc import Sequence
from datetime import date
from typing import Any

from dashboard.figures.names import plain
from dashboard.figures.template import axis, layout, note
from dashboard.figures.theme import CHART_TEXT_PX, Palette, bare_number, day, palette
from dashboard.questions.answers import LoadRow, ReasonRow

LOADS_SHOWN = 24
LABELS_SHOWN = 5
REASONS_SHOWN = 12
# What becomes of a row, with the colour's role and the pattern that tells it without colour.
FATES = (
    ("stored", "accent", ""),
    ("replaced", "third", "/"),
    ("unchanged", "grid", ""),
    ("waiting", "fourth", "x"),
    ("rejected", "second", "."),
)


def loads_figure(rows: Sequence[LoadRow], theme: str | None) -> dict[str, Any]:
    """Stacked bars, one a load, of the latest loads in the order of time."""
    colours = palette(theme)
    shown = list(rows)[-LOADS_SHOWN:]
    labels = [str(row.load_id) for row in shown]
    return {
        "data": [
            {
                "type": "bar",
                "name": fate,
                "x": labels,
                "y": [getattr(row, fate) for row in shown],
                "width": 0.5,
                "marker": {
                    "color": getattr(colours, role),
                    "line": {"color": colours.line if role == "grid" else getattr(colours, role), "width": 1},
                    "pattern": {"shape": shape, **_hatching(colours)},
                },
                "text": [f"<b>Load {row.load_id}</b>, {_day_of(row)}<br>{getattr(row, fate):,} {fate}" for row in shown],
                "textposition": "none",
                "hoverinfo": "text",
            }
            for fate, role, shape in FATES
        ],
        "layout": layout(
            theme,
            height=280,
            margin=(62, 10, 34, 44),
            barmode="stack",
            showlegend=True,
            legend={"orientation": "h", "x": 0, "y": 1.02, "yanchor": "bottom", "traceorder": "normal"},
            xaxis=axis(theme, type="category", showgrid=False, **_days(shown)),
            yaxis=axis(theme, nticks=5, tickformat=",", title="rows", rangemode="tozero"),
        ),
    }


def reasons_figure(rows: Sequence[ReasonRow], theme: str | None) -> dict[str, Any]:
    """Horizontal bars, one a reason and table, the most frequent at the top."""
    colours = palette(theme)
    shown = most_frequent(rows)
    top = max((row.n for row in shown), default=1)
    return {
        # One trace a state: a pattern takes no list of colours.
        "data": [_bars(shown, state, colours) for state in ("rejected", "waiting")],
        "layout": layout(
            theme,
            height=34 * max(len(shown), 1) + 52,
            margin=(10, 16, 6, 40),
            xaxis=axis(theme, nticks=5, range=[0, top * 1.12], tickformat=",", title="rows"),
            yaxis=axis(
                theme,
                range=[len(shown) - 0.4, -0.6],
                tickvals=list(range(len(shown))),
                ticktext=[_label(row) for row in shown],
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
                for place, row in enumerate(shown)
            ],
        ),
    }


def _bars(rows: Sequence[ReasonRow], state: str, colours: Palette) -> dict[str, Any]:
    placed = [(place, row) for place, row in enumerate(rows) if row.state == state]
    fate = next(fate for fate in FATES if fate[0] == state)
    return {
        "type": "bar",
        "orientation": "h",
        "x": [row.n for _, row in placed],
        "y": [place for place, _ in placed],
        "width": 0.55,
        "marker": {"color": getattr(colours, fate[1]), "pattern": {"shape": fate[2], **_hatching(colours)}},
        "text": [f"<b>{_label(row)}</b><br>{row.n:,}" for _, row in placed],
        "textposition": "none",
        "hoverinfo": "text",
    }


def most_frequent(rows: Sequence[ReasonRow]) -> list[ReasonRow]:
    """The reasons that are drawn."""
    return sorted(rows, key=lambda row: (-row.n, row.state, row.table, row.rule))[:REASONS_SHOWN]


def _hover(row: LoadRow, fate: str) -> str:
    return f"<b>Load {row.load_id}</b>, {_day_of(row)}<br>{getattr(row, fate):,} {fate}"


def _day_of(row: LoadRow) -> str:
    return day(date.fromisoformat(row.loaded_at[:10]))


def _days(rows: Sequence[LoadRow]) -> dict[str, Any]:
    """The day of a load under its bar; of many loads, only some, so that a phone shows them upright."""
    every = math.ceil(len(rows) / LABELS_SHOWN) or 1
    places = range(0, len(rows), every)
    # Two lines: day and month, then the year.
    labels = ["<br>".join(_day_of(rows[place]).rsplit(" ", 1)) for place in places]
    # A few loads stay slim bars at the left.
    return {"tickvals": list(places), "ticktext": labels, "tickangle": 0, "range": [-0.5, max(len(rows), 6) - 0.5]}


def _hatching(colours: Palette) -> dict[str, Any]:
    return {"fillmode": "overlay", "fgcolor": colours.surface, "fgopacity": 0.8, "size": 7, "solidity": 0.2}


def _label(row: ReasonRow) -> str:
    """The rule and the table; a waiting row has one rule only."""
    rule = row.state if row.state == "waiting" else f"{row.state}: {plain(row.rule)}"
    return f"{rule}<br>{row.table}"

"""Rows of shares as dots with intervals. A row's name stands above its dots, so that it is whole at any width."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from dashboard.figures.template import axis, layout, note
from dashboard.figures.theme import CHART_TEXT_PX, Palette, number, palette

# Heights in px: of a row's name, of its dot, of the axis below.
NAME_PX: Final = 23
MARK_PX: Final = 13
_ROW_PX: Final = NAME_PX + MARK_PX
AXIS_PX: Final = 48
LABEL_PX: Final = CHART_TEXT_PX - 1


@dataclass(frozen=True)
class Mark:
    """A share (0 to 1) with its interval; `ends`, if any, are bounds drawn as a thin line behind; `is_quiet`: hollow."""

    share: float
    low: float
    high: float
    hover: str
    is_quiet: bool = False
    ends: tuple[float, float] | None = None


@dataclass(frozen=True)
class DotRow:
    """A row: its name, what is counted, the figures printed at its right, its mark; without one, `missing` says why."""

    name: str
    counted: str
    printed: str
    marks: tuple[Mark, ...]
    missing: str = ""


def dot_rows(rows: Sequence[DotRow], theme: str | None, *, of: str, step: float = 0.25) -> dict[str, Any]:
    """The rows from top to bottom as a plain dict, shares `of` them to 100 %, a tick each `step`."""
    colours = palette(theme)
    ticks = [step * tick for tick in range(round(1 / step) + 1)]
    is_drawn = any(row.marks for row in rows)
    below = AXIS_PX if is_drawn else 4
    room = 0.015 * ticks[-1]
    ends = (-room, ticks[-1] + room)
    placed = [(_place(place), mark) for place, row in enumerate(rows) for mark in row.marks]
    return {
        "data": [
            rules(len(rows), ends, colours),
            *_words(rows, ends, colours),
            lines([(y, mark.ends) for y, mark in placed if mark.ends], colours.line, 1.5),
            _ends([(y, mark.ends) for y, mark in placed if mark.ends], colours.line),
            *(_intervals(placed, quiet, colours) for quiet in (True, False)),
            *(_dots(placed, quiet, colours) for quiet in (True, False)),
        ],
        "layout": layout(
            theme,
            height=_ROW_PX * max(len(rows), 1) + below + 6,
            margin=(12, 18, 6, below),
            xaxis=axis(
                theme,
                title=f"share of {of}" if is_drawn else "",
                range=list(ends),
                tickvals=ticks,
                ticktext=[number(tick, "share") for tick in ticks],
                ticklabelstandoff=4,
                showticklabels=is_drawn,
                showgrid=is_drawn,
            ),
            yaxis=axis(theme, range=[max(len(rows), 1), 0], showticklabels=False, showgrid=False),
        ),
    }


def no_figure(theme: str | None, words: str) -> dict[str, Any]:
    """What stands in the place of a picture that cannot be drawn yet."""
    return {
        "data": [],
        "layout": layout(
            theme,
            height=72,
            margin=(0, 0, 0, 0),
            xaxis=axis(theme, visible=False),
            yaxis=axis(theme, visible=False),
            annotations=[
                note(words, xref="paper", yref="paper", x=0, y=0.5, xanchor="left", font={"color": palette(theme).muted})
            ],
        ),
    }


def _place(place: int) -> float:
    """Where the row's mark stands, in rows from the top."""
    return place + (NAME_PX + 0.4 * MARK_PX) / _ROW_PX


def lines(drawn: Sequence[tuple[float, tuple[float, float]]], colour: str, width: float) -> dict[str, Any]:
    """Level lines, each at its place in rows from one end to the other."""
    return {
        "type": "scatter",
        "mode": "lines",
        "x": [x for _, (low, high) in drawn for x in (low, high, None)],
        "y": [at for y, _ in drawn for at in (y, y, None)],
        "line": {"color": colour, "width": width},
        "hoverinfo": "skip",
    }


def _ends(lines: Sequence[tuple[float, tuple[float, float]]], colour: str) -> dict[str, Any]:
    return {
        "type": "scatter",
        "mode": "markers",
        "x": [x for _, ends in lines for x in ends],
        "y": [y for y, _ in lines for _ in range(2)],
        "marker": {"symbol": "line-ns-open", "size": 11, "color": colour, "line": {"color": colour, "width": 1.5}},
        "hoverinfo": "skip",
    }


def _intervals(placed: Sequence[tuple[float, Mark]], quiet: bool, colours: Palette) -> dict[str, Any]:
    chosen = [(y, (mark.low, mark.high)) for y, mark in placed if mark.is_quiet == quiet]
    return lines(chosen, colours.muted if quiet else colours.accent, 1.5 if quiet else 4)


def _dots(placed: Sequence[tuple[float, Mark]], quiet: bool, colours: Palette) -> dict[str, Any]:
    chosen = [(y, mark) for y, mark in placed if mark.is_quiet == quiet]
    hollow = {"symbol": "diamond", "size": 8, "color": colours.surface, "line": {"color": colours.muted, "width": 2}}
    full = {"symbol": "circle", "size": 10, "color": colours.accent, "line": {"color": colours.surface, "width": 1}}
    return {
        "type": "scatter",
        "mode": "markers",
        "x": [mark.share for _, mark in chosen],
        "y": [y for y, _ in chosen],
        "marker": hollow if quiet else full,
        "text": [mark.hover for _, mark in chosen],
        "hoverinfo": "text",
    }


def rules(n_rows: int, ends: tuple[float, float], colours: Palette) -> dict[str, Any]:
    """Draws quiet lines between the rows."""
    return lines([(place, ends) for place in range(1, n_rows)], colours.grid, 1)


def _words(rows: Sequence[DotRow], ends: tuple[float, float], colours: Palette) -> list[dict[str, Any]]:
    """Each row's name and count at the left, its figures at the right, and below what stands for a missing figure."""
    tops = [place + NAME_PX * 0.55 / _ROW_PX for place in range(len(rows))]
    names = [f"<b>{row.name}</b>  {row.counted}".rstrip() for row in rows]
    missing = {_place(place): row.missing for place, row in enumerate(rows) if not row.marks}
    return [
        texts(ends[0], tops, names, "middle right", colours.ink),
        texts(ends[1], tops, [row.printed for row in rows], "middle left", colours.ink),
        texts(ends[0], list(missing), list(missing.values()), "middle right", colours.muted),
    ]


def texts(x: float, y: Sequence[float], texts: Sequence[str], position: str, colour: str) -> dict[str, Any]:
    """Words at one end of each row. As annotations they took the browser ten times as long."""
    return {
        "type": "scatter",
        "mode": "text",
        "x": [x] * len(y),
        "y": list(y),
        "text": list(texts),
        "textposition": position,
        "textfont": {"size": LABEL_PX, "color": colour},
        "cliponaxis": False,
        "hoverinfo": "skip",
    }

"""Rows of told intervals beside zero. A row's name stands above its bar, so that it is whole at any width."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from dashboard.figures.dot_rows import LABEL_PX, lines, rules, texts
from dashboard.figures.template import axis, layout
from dashboard.figures.theme import Palette, palette

# Heights in px: of a row, from its top to its words and to its bar, from the bar to its estimates, of the axis.
ROW_PX: Final = 28
WITH_ESTIMATES_PX: Final = 35
_WORDS_PX: Final = 9
_BAR_PX: Final = 21
_BAR_BESIDE_PX: Final = 24
_BESIDE_PX: Final = 5
_STROKE_PX: Final = 4.5
_AXIS_PX: Final = 40
_ROOM: Final = 0.04


@dataclass(frozen=True)
class Estimate:
    """One of the estimates behind a told interval, with its own interval."""

    value: float
    low: float
    high: float


@dataclass(frozen=True)
class ToldRow:
    """A row: its name, its figures in words, the told interval, whether a change is claimed by it, what the pointer finds.

    Without ends there is no bar, and `printed` says why. `estimates`: the two behind the interval, where they are drawn too;
    third: the one that may narrow it.
    """

    name: str
    printed: str
    low: float | None
    high: float | None
    is_claimed: bool
    hover: str = ""
    estimates: tuple[Estimate, Estimate] | None = None
    third: float | None = None

    @property
    def ends(self) -> tuple[float, float] | None:
        return None if self.low is None or self.high is None else (self.low, self.high)


def span_of(rows: Sequence[ToldRow]) -> tuple[float, float]:
    """From the lowest to the highest end, zero among them, so that several panels can be drawn to one measure."""
    ends = [0.0, *(end for row in rows if row.ends for end in row.ends)]
    low, high = min(ends), max(ends)
    return (low, high) if low < high else (-1.0, 1.0)


def told_rows(
    rows: Sequence[ToldRow], theme: str | None, *, span: tuple[float, float], title: str, suffix: str = ""
) -> dict[str, Any]:
    """The rows from top to bottom as a plain dict; `span` is what the axis reaches over at least.

    `title` and the `suffix` of its ticks tell which way is which, and its unit.
    """
    colours = palette(theme)
    row_px, bar_px = (WITH_ESTIMATES_PX, _BAR_BESIDE_PX) if any(row.estimates for row in rows) else (ROW_PX, _BAR_PX)
    room = _ROOM * (span[1] - span[0])
    ends = (span[0] - room, span[1] + room)
    told = [(place + bar_px / row_px, row) for place, row in enumerate(rows) if row.ends]
    below = _AXIS_PX if told else 4
    return {
        "data": [
            rules(len(rows), ends, colours),
            _zero([y for y, _ in told], _STROKE_PX / row_px, colours),
            *_words(rows, ends, row_px, colours),
            *(_bars(told, claimed, colours) for claimed in (False, True)),
            *_estimates(told, _BESIDE_PX / row_px, colours),
            _pointed_at(told),
        ],
        "layout": layout(
            theme,
            height=row_px * max(len(rows), 1) + below + 4,
            margin=(8, 8, 4, below),
            xaxis=axis(
                theme,
                title=title if told else "",
                range=list(ends),
                nticks=5,
                ticksuffix=suffix,
                tickangle=0,
                showgrid=bool(told),
                showticklabels=bool(told),
            ),
            yaxis=axis(theme, range=[max(len(rows), 1), 0], showticklabels=False, showgrid=False),
        ),
    }


def _zero(places: Sequence[float], half: float, colours: Palette) -> dict[str, Any]:
    """Zero as a stroke through each bar, below the words, which it would else run through."""
    return {
        "type": "scatter",
        "mode": "lines",
        "x": [x for _ in places for x in (0.0, 0.0, None)],
        "y": [y for place in places for y in (place - half, place + half, None)],
        "line": {"color": colours.ink, "width": 1.25},
        "hoverinfo": "skip",
    }


def _words(rows: Sequence[ToldRow], ends: tuple[float, float], row_px: int, colours: Palette) -> list[dict[str, Any]]:
    """Each row's name at the left, its figures at the right, and in the place of its bar why there is none."""
    tops = [place + _WORDS_PX / row_px for place in range(len(rows))]
    empty = [(place + _BAR_PX / row_px, row.printed) for place, row in enumerate(rows) if not row.ends]
    printed = [f"<b>{row.printed}</b>" if row.is_claimed else row.printed if row.ends else "" for row in rows]
    return [
        texts(ends[0], tops, [row.name for row in rows], "middle right", colours.ink),
        texts(ends[1], tops, printed, "middle left", colours.ink),
        texts(ends[0], [y for y, _ in empty], [words for _, words in empty], "middle right", colours.muted),
    ]


def _bars(told: Sequence[tuple[float, ToldRow]], claimed: bool, colours: Palette) -> dict[str, Any]:
    chosen = [(y, row.ends) for y, row in told if row.ends and row.is_claimed is claimed]
    return lines(chosen, colours.accent if claimed else colours.line, 6 if claimed else 2.5)


def _estimates(told: Sequence[tuple[float, ToldRow]], beside: float, colours: Palette) -> list[dict[str, Any]]:
    """The first estimate above its bar as a dot, the second below it as a diamond, the third as a stroke through it, so that
    they differ in shape too."""
    first = [(y - beside, row.estimates[0]) for y, row in told if row.estimates]
    second = [(y + beside, row.estimates[1]) for y, row in told if row.estimates]
    third = [(y, Estimate(row.third, row.third, row.third)) for y, row in told if row.third is not None]
    diamond = {"symbol": "diamond", "size": 6, "color": colours.surface, "line": {"color": colours.second, "width": 2}}
    return [
        lines([(y, (one.low, one.high)) for y, one in first], colours.accent, 1.5),
        lines([(y, (one.low, one.high)) for y, one in second], colours.second, 1.5),
        _marks(first, {"symbol": "circle", "size": 6, "color": colours.accent}),
        _marks(second, diamond),
        _marks(third, {"symbol": "line-ns", "size": 7, "line": {"color": colours.ink, "width": 2}}),
    ]


def _marks(estimates: Sequence[tuple[float, Estimate]], marker: dict[str, Any]) -> dict[str, Any]:
    return {
        "type": "scatter",
        "mode": "markers",
        "x": [one.value for _, one in estimates],
        "y": [y for y, _ in estimates],
        "marker": marker,
        "hoverinfo": "skip",
    }


def _pointed_at(told: Sequence[tuple[float, ToldRow]]) -> dict[str, Any]:
    """Unseen marks in the middle of the bars, which tell the row at the pointer."""
    return {
        "type": "scatter",
        "mode": "markers",
        "x": [sum(row.ends) / 2 for _, row in told if row.ends],
        "y": [y for y, _ in told],
        "marker": {"size": LABEL_PX, "opacity": 0},
        "text": [row.hover for _, row in told],
        "hoverinfo": "text",
    }

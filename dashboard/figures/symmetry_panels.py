"""How common a side difference is by level, a few levels a panel: in each row a hollow diamond at arrival and a full dot at
departure with their intervals, the level's name at the left and both shares at the right."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from dashboard.figures.names import plain
from dashboard.figures.symmetry import ALL, by_level, level_name
from dashboard.figures.template import axis, layout, note
from dashboard.figures.theme import CHART_TEXT_PX, NOTHING, Palette, bare_number, interval, number, palette
from dashboard.questions.symmetry.answers_asymmetry import PrevalenceRow

ROW_PX: Final = 30
AXIS_PX: Final = 44
# Beyond so many levels they are parted into panels, at most so many.
MOST_TOGETHER: Final = 6
MOST_PANELS: Final = 3
# How far the marks of both moments stand from the middle of their row, in rows.
_APART: Final = {"arrival": -0.17, "departure": 0.17}
Moments = dict[str, PrevalenceRow]


@dataclass(frozen=True)
class Panel:
    """Some levels together: what they share (the arch of foot types), or None, and each one's name with its rows."""

    of: str | None
    levels: tuple[tuple[str, Moments], ...]


def panels(rows: Sequence[PrevalenceRow], quantity: str) -> list[Panel]:
    """The levels in panels: foot types by their arch, many others in as many equal parts; few, or none, in one."""
    moments_by_level = by_level(rows, quantity)
    levels = [(level, moments) for level, moments in moments_by_level.items() if level is not None]
    arches = list(dict.fromkeys(level.partition(", ")[0] for level, _ in levels if ", " in level))
    if len(levels) > MOST_TOGETHER and 1 < len(arches) <= MOST_PANELS:
        return [
            Panel(arch, tuple((plain(level.split(", ")[1]), one) for level, one in levels if level.startswith(f"{arch}, ")))
            for arch in arches
        ]
    if len(levels) <= MOST_TOGETHER:
        together = [(ALL, moments_by_level[None])] if None in moments_by_level else []
        return [Panel(None, tuple(together + [(level_name(level), one) for level, one in levels]))]
    size = math.ceil(len(levels) / MOST_PANELS)
    parts = [levels[start : start + size] for start in range(0, len(levels), size)]
    return [Panel(None, tuple((level_name(level), one) for level, one in part)) for part in parts]


def panel_figure(panel: Panel, rows: Sequence[PrevalenceRow], theme: str | None) -> dict[str, Any]:
    """One panel as a plain dict; `rows`: of all panels, which share their scale."""
    colours = palette(theme)
    n = max(1, len(panel.levels))
    end = min(1.0, 0.1 * math.ceil(10 * max([0.1, *(row.high for row in rows if row.high is not None)])))
    step = 0.5 if end > 0.5 else 0.25 if end > 0.25 else 0.1
    ticks = [step * at for at in range(int(end / step + 1e-9) + 1)]
    at_left = {"size": CHART_TEXT_PX - 1, "color": colours.ink}
    return {
        "data": [_marks(panel, moment, colours) for moment in _APART],
        "layout": layout(
            theme,
            height=ROW_PX * n + AXIS_PX + 6,
            margin=(96, 84, 6, AXIS_PX),
            xaxis=axis(
                theme,
                title="share of riders",
                range=[-0.02 * end, 1.02 * end],
                tickvals=ticks,
                ticktext=[number(tick, "share") for tick in ticks],
                ticklabelstandoff=4,
            ),
            yaxis=axis(
                theme,
                range=[n - 0.5, -0.5],
                tickvals=list(range(n)),
                ticktext=[name for name, _ in panel.levels],
                tickfont=at_left,
                ticklabelstandoff=6,
                showgrid=False,
            ),
            annotations=[_printed(place, moments, colours) for place, (_, moments) in enumerate(panel.levels)],
        ),
    }


def panel_finding(panel: Panel) -> str:
    """What a panel shows: from its lowest to its highest share at departure."""
    name = level_name(panel.of) if panel.of else ""
    span = _span([moments["departure"] for _, moments in panel.levels])
    if not span:
        return f"{name}: not enough yet" if name else "Not enough yet"
    words = f"{span} left with one"
    return f"{name}: {words}" if name else words


def panel_alternative(panel: Panel, quantity: str) -> str:
    """The panel in words, for a reader who does not see it."""
    told = [
        f"{name}: " + ", ".join(f"{_share(row)} at {row.moment}" for row in moments.values()) for name, moments in panel.levels
    ]
    of = f", {plain(panel.of)}" if panel.of else ""
    return f"Dot-and-interval chart of the share of riders with a side difference in {quantity}{of}. {'; '.join(told)}."


def _share(row: PrevalenceRow) -> str:
    return (
        "not enough yet"
        if row.share is None
        else f"{number(row.share, 'share')}, interval {interval(row.low, row.high, 'share')}"
    )


def _span(rows: Sequence[PrevalenceRow]) -> str:
    shares = sorted(row.share for row in rows if row.share is not None)
    if not shares:
        return ""
    low, high = bare_number(shares[0], "share"), number(shares[-1], "share")
    return high if bare_number(shares[-1], "share") == low else f"{low} to {high}"


def _printed(place: int, moments: Moments, colours: Palette) -> dict[str, Any]:
    """Both shares at the right of a row, or that there are too few riders."""
    ends = [bare_number(moments[moment].share, "share") for moment in _APART]
    words = "too few yet" if NOTHING in ends else f"{ends[0]} → <b>{ends[1]}</b>\u202f%"
    font = {"size": CHART_TEXT_PX - 1, "color": colours.muted if NOTHING in ends else colours.ink}
    return note(words, xref="paper", x=1, xanchor="left", xshift=6, yref="y", y=place, font=font)


def _marks(panel: Panel, moment: str, colours: Palette) -> dict[str, Any]:
    """The marks of one moment with their intervals: hollow at arrival, full at departure."""
    placed = [
        (place + _APART[moment], moments[moment])
        for place, (_, moments) in enumerate(panel.levels)
        if moments[moment].share is not None
    ]
    is_arrival = moment == "arrival"
    hollow = {"symbol": "diamond", "size": 8, "color": colours.surface, "line": {"color": colours.muted, "width": 2}}
    full = {"symbol": "circle", "size": 10, "color": colours.accent, "line": {"color": colours.surface, "width": 1}}
    return {
        "type": "scatter",
        "mode": "markers",
        "x": [row.share for _, row in placed],
        "y": [at for at, _ in placed],
        "error_x": {
            "type": "data",
            "symmetric": False,
            "array": [(row.high or 0) - (row.share or 0) for _, row in placed],
            "arrayminus": [(row.share or 0) - (row.low or 0) for _, row in placed],
            "color": colours.muted if is_arrival else colours.accent,
            "thickness": 1.5 if is_arrival else 3,
            "width": 0,
        },
        "marker": hollow if is_arrival else full,
        "text": [_hover(row) for _, row in placed],
        "hoverinfo": "text",
        "cliponaxis": False,
    }


def _hover(row: PrevalenceRow) -> str:
    return (
        f"<b>{level_name(row.level)}, at {row.moment}</b>"
        f"<br>{number(row.share, 'share')} ({interval(row.low, row.high, 'share')})"
        f"<br>{row.n_beyond:,} of {row.n_riders:,} riders"
    )

"""Left against right at one moment, with the limits of a side difference as two lines along the line of equal sides."""

import functools
import math
from collections.abc import Sequence
from typing import Any, Final

from dashboard.figures.names import OUTCOMES, unit_words
from dashboard.figures.template import axis, layout, note
from dashboard.figures.theme import CHART_TEXT_PX, Palette, number, palette
from dashboard.questions.selection.scope import counted
from dashboard.questions.symmetry.answers_sides import SidesRow

HEIGHT_PX: Final = 340
_POINT_PX: Final = 5
_LARGEST_PX: Final = 15


def sides_figure(rows: Sequence[SidesRow], quantity: str, moment: str, limit: float, theme: str | None) -> dict[str, Any]:
    """One moment as a plain dict; both moments of a quantity get the same axes, so that they can be compared."""
    colours = palette(theme)
    drawn = [row for row in rows if row.quantity == quantity]
    reach = _reach(drawn, limit)
    of_moment = [row for row in drawn if row.moment == moment]
    most = max((row.n_riders for row in drawn), default=1)
    common = {"range": [-reach, reach], "zeroline": True, "zerolinecolor": colours.grid, "zerolinewidth": 1, "nticks": 7}
    words = f"knee, {unit_words(quantity)} ({OUTCOMES[quantity].less} −, {OUTCOMES[quantity].more} +)"
    return {
        "data": [
            _points([row for row in of_moment if not row.is_beyond], most, colours.muted, "circle", 0.45),
            _points([row for row in of_moment if row.is_beyond], most, colours.accent, "diamond", 0.8),
        ],
        "layout": layout(
            theme,
            height=HEIGHT_PX,
            margin=(54, 6, 6, 46),
            xaxis=axis(theme, title=f"left {words}", constrain="domain", **common),
            yaxis=axis(theme, title=f"right {words}", scaleanchor="x", constrain="domain", constraintoward="top", **common),
            shapes=[_band(reach, limit, colours), *(_line(reach, shift, colours) for shift in (limit, -limit))],
            annotations=[_corner("right knee<br>further out", 0, colours), _corner("left knee<br>further out", 1, colours)],
        ),
    }


def finding(rows: Sequence[SidesRow], quantity: str, moment: str) -> str:
    """What one moment shows, for its title."""
    n, n_beyond = counts(rows, quantity, moment)
    return f"At {moment}: {n_beyond:,} of {counted(n, 'rider')} beyond the limit" if n else f"At {moment}: no rider yet"


def alternative(rows: Sequence[SidesRow], quantity: str, moment: str, limit: float) -> str:
    """Tells the picture in words, for a reader who does not see it."""
    n, n_beyond = counts(rows, quantity, moment)
    right, left, _ = further_out(rows, quantity, moment)
    unit = "deg" if quantity == "tilt" else "mm"
    return (
        f"Scatter of the right knee's {quantity} against the left one's at {moment}, {n:,} riders. {n_beyond:,} lie beyond the "
        f"limit of {number(limit, unit)}: in {right:,} the right knee is further out, in {left:,} the left one."
    )


def counts(rows: Sequence[SidesRow], quantity: str, moment: str) -> tuple[int, int]:
    """Riders at one moment, and those beyond the limit."""
    of_moment = [row for row in rows if (row.quantity, row.moment) == (quantity, moment)]
    return sum(row.n_riders for row in of_moment), sum(row.n_riders for row in of_moment if row.is_beyond)


def further_out(rows: Sequence[SidesRow], quantity: str, moment: str) -> tuple[int, int, int]:
    """Riders beyond the limit with the right knee further out, with the left one, and riders within it."""
    n, n_beyond = counts(rows, quantity, moment)
    beyond = [row for row in rows if (row.quantity, row.moment) == (quantity, moment) and row.is_beyond]
    right = sum(row.n_riders for row in beyond if row.right_value > row.left_value)
    return right, n_beyond - right, n - n_beyond


def _reach(rows: Sequence[SidesRow], limit: float) -> float:
    """How far both axes go from zero: past every point, and past the limit."""
    furthest = max([2 * limit, *(max(abs(row.left_value), abs(row.right_value)) for row in rows)])
    return round(1.06 * furthest, 2)


def _points(rows: Sequence[SidesRow], most: int, colour: str, symbol: str, opacity: float) -> dict[str, Any]:
    """The area of a mark tells its riders; where every mark is one rider, all are alike."""
    scale = _POINT_PX if most <= 2 else _LARGEST_PX / math.sqrt(most)
    sizes = {n: max(3.0, round(scale * math.sqrt(n), 1)) for n in {row.n_riders for row in rows}}
    return {
        "type": "scatter",
        "mode": "markers",
        "x": [row.left_value for row in rows],
        "y": [row.right_value for row in rows],
        "marker": {
            "symbol": symbol,
            "color": colour,
            "opacity": opacity,
            "size": [sizes[row.n_riders] for row in rows],
            "line": {"width": 0},
        },
        "text": _hovers(rows),
        "hoverinfo": "text",
    }


def _hovers(rows: Sequence[SidesRow]) -> list[str]:
    """What each mark tells; cells stand in rows and columns, so that few values are told many times."""
    said = functools.cache(number)
    around = "around " if any(row.cell_size for row in rows) else ""
    riders = {n: counted(n, "rider") for n in {row.n_riders for row in rows}}
    return [
        f"left {around}{said(row.left_value, row.unit)}<br>right {around}{said(row.right_value, row.unit)}<br>"
        f"{riders[row.n_riders]}"
        for row in rows
    ]


def _band(reach: float, limit: float, colours: Palette) -> dict[str, Any]:
    """Tints the area in which both knees differ by less than the limit."""
    low, high = -reach, reach
    corners = ((low, low), (low, low + limit), (high - limit, high), (high, high), (high, high - limit), (low + limit, low))
    path = "M " + " L ".join(f"{x},{y}" for x, y in corners) + " Z"
    return {"type": "path", "path": path, "layer": "below", "fillcolor": colours.soft, "line": {"width": 0}}


def _line(reach: float, shift: float, colours: Palette) -> dict[str, Any]:
    """Draws the line on which the right knee is the left one plus `shift`, from edge to edge."""
    start, end = max(-reach, -reach - shift), min(reach, reach - shift)
    ends = {"x0": start, "y0": start + shift, "x1": end, "y1": end + shift}
    return {"type": "line", **ends, "layer": "below", "line": {"color": colours.ink, "width": 1.2, "dash": "dash"}}


def _corner(words: str, at: int, colours: Palette) -> dict[str, Any]:
    """What lies beyond each limit, said in the corner that it faces: 0 the upper left one, 1 the lower right one."""
    left, low = {"x": 0.02, "xanchor": "left", "align": "left"}, {"y": 0.02, "yanchor": "bottom"}
    right, high = {"x": 0.98, "xanchor": "right", "align": "right"}, {"y": 0.98, "yanchor": "top"}
    place = {**right, **low} if at else {**left, **high}
    font = {"size": CHART_TEXT_PX - 1, "color": colours.muted}
    return note(words, xref="x domain", yref="y domain", font=font, **place)

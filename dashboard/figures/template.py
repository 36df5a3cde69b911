"""The part of a figure that all charts share, as a plain dict: about a thousandth of the cost of a template object."""

import re
from types import NoneType
from typing import Any, Final

from dashboard.figures.theme import CHART_TEXT_PX, FONT, on_paper, palette
from dashboard.figures.typeface import room_px

# The tags that our own labels use; plotly reads some more, links among them.
_FOREIGN_TAG: Final = re.compile(r"<(?!/?(?:b|br|i|sub|sup)>)")
# What plotly leaves between a label and the axis by itself.
_AT_TICK_PX: Final = 3
_NUMBERS: Final = (float, int, NoneType)


def as_text(part: Any) -> Any:
    """A figure, or a part of one, in which every sign of markup that is not our own is shown as it is written.

    Ids and codes come from a studio's files, and may hold anything.
    """
    if isinstance(part, str):
        return _FOREIGN_TAG.sub("&lt;", part) if "<" in part else part
    if isinstance(part, dict):
        return {name: as_text(value) for name, value in part.items()}
    if isinstance(part, list | tuple):
        # Most parts are points, thousands of numbers.
        return [value if isinstance(value, _NUMBERS) else as_text(value) for value in part]
    return part


def axis(theme: str | None, *, title: str = "", **more: Any) -> dict[str, Any]:
    """An axis without zoom, with a quiet grid."""
    colours = palette(theme)
    return {
        "fixedrange": True,
        "showline": False,
        "gridcolor": colours.grid,
        "zeroline": False,
        "ticks": "",
        "tickfont": {"color": colours.muted, "size": CHART_TEXT_PX - 1},
        "title": {"text": title, "font": {"size": CHART_TEXT_PX - 1, "color": colours.muted}, "standoff": 8},
        **more,
    }


def layout(theme: str | None, *, height: int, margin: tuple[int, int, int, int], **more: Any) -> dict[str, Any]:
    """A layout of `height` px with margins left, right, top, bottom in px; more at the sides where their labels need it."""
    colours = palette(theme)
    left, right, top, bottom = margin
    left, right = max(left, _room_left(more)), max(right, _room_right(more))
    return {
        "height": height,
        "margin": {"l": left, "r": right, "t": top, "b": bottom, "pad": 0},
        "paper_bgcolor": "rgba(0,0,0,0)",
        "plot_bgcolor": "rgba(0,0,0,0)",
        "font": {"family": FONT, "size": CHART_TEXT_PX, "color": colours.ink},
        "hoverlabel": {
            "bgcolor": colours.surface,
            "bordercolor": colours.line,
            "font": {"family": FONT, "size": CHART_TEXT_PX, "color": colours.ink},
        },
        "showlegend": False,
        "dragmode": False,
        "autosize": True,
        # Read by assets/printing.js.
        "meta": {"on_paper": on_paper(theme)},
        **more,
    }


def _room_left(parts: dict[str, Any]) -> int:
    """What the labels of the first vertical axis take."""
    upright = parts.get("yaxis", {})
    if not upright.get("showticklabels", True) or not upright.get("visible", True):
        return 0
    gap = upright.get("ticklabelstandoff", 0) + _AT_TICK_PX
    return room_px(upright.get("ticktext", ()), upright.get("tickfont", {}).get("size", CHART_TEXT_PX), gap_px=gap)


def _room_right(parts: dict[str, Any]) -> int:
    """What the notes take that begin where the plot ends."""
    beside = [
        one
        for one in parts.get("annotations", ())
        if (one.get("xref"), one.get("x"), one.get("xanchor")) == ("paper", 1, "left")
    ]
    return max(
        (room_px([one["text"]], one.get("font", {}).get("size", CHART_TEXT_PX), gap_px=one.get("xshift", 0)) for one in beside),
        default=0,
    )


def note(text: str, **more: Any) -> dict[str, Any]:
    """Text in a chart, without an arrow."""
    return {"text": text, "showarrow": False, **more}


def words_only(theme: str | None, words: str) -> dict[str, Any]:
    """A figure of words alone, for where nothing is known that an axis could measure."""
    font = {"size": CHART_TEXT_PX, "color": palette(theme).muted}
    sentence = note(words, xref="paper", x=0, xanchor="left", yref="paper", y=0.5, font=font)
    unseen = axis(theme, visible=False)
    return {
        "data": [],
        "layout": layout(theme, height=60, margin=(0, 0, 0, 0), xaxis=unseen, yaxis=unseen, annotations=[sentence]),
    }

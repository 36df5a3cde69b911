"""One headline figure by calendar month, with the figure of the whole selection as a line behind it."""

import math
from collections.abc import Sequence
from typing import Any

from dashboard.figures.names import FIGURES
from dashboard.figures.template import axis, layout
from dashboard.figures.theme import bare_interval, bare_number, interval, number, palette
from dashboard.questions.answers import StudioFigure, StudioTrendRow


def trend_panel(figure: StudioFigure, rows: Sequence[StudioTrendRow], theme: str | None) -> dict[str, Any]:
    """The months of one figure as a plain dict; a month with too few is left out."""
    colours = palette(theme)
    shown = [row for row in rows if row.figure == figure.figure and row.estimate is not None]
    return {
        "data": [
            {
                "type": "scatter",
                "mode": "lines+markers",
                "x": [row.month.isoformat() for row in shown],
                "y": [row.estimate for row in shown],
                "error_y": {
                    "type": "data",
                    "symmetric": False,
                    "array": [_gap(row.estimate, row.high) for row in shown],
                    "arrayminus": [_gap(row.low, row.estimate) for row in shown],
                    "color": colours.accent,
                    "thickness": 1.5,
                    "width": 0,
                },
                "line": {"color": colours.accent, "width": 1},
                "marker": {"color": colours.accent, "size": 6},
                "text": [_hover(row) for row in shown],
                "hoverinfo": "text",
            }
        ],
        "layout": layout(
            theme,
            height=190,
            margin=(48, 10, 8, 26),
            xaxis=axis(theme, type="date", nticks=4, tickformat="%b %y", showgrid=False, range=_months(rows)),
            yaxis=axis(theme, ticklabelstandoff=4, **_vertical(figure, shown, colours.line)),
            shapes=_whole(figure, theme),
        ),
    }


def finding(figure: StudioFigure, rows: Sequence[StudioTrendRow]) -> str:
    """The latest month that can be told, for the title; two months alone would be read as a trend."""
    shown = [row for row in rows if row.figure == figure.figure and row.estimate is not None]
    if not shown:
        return "By month: not enough yet"
    last = shown[-1]
    form, ends = (number, interval) if figure.unit == "share" else (bare_number, bare_interval)
    return f"Latest month, {last.month:%b\u00a0%Y}: {form(last.estimate, last.unit)} ({ends(last.low, last.high, last.unit)})"


def alternative(figure: StudioFigure, rows: Sequence[StudioTrendRow]) -> str:
    """The trend in words."""
    shown = [row for row in rows if row.figure == figure.figure and row.estimate is not None]
    if not shown:
        return f"{FIGURES[figure.figure]} by month: not enough yet in any month."
    first, last = shown[0], shown[-1]
    return (
        f"{FIGURES[figure.figure]} by month, {len(shown)} months with enough data: "
        f"{number(first.estimate, first.unit)} in {first.month:%B %Y}, "
        f"{number(last.estimate, last.unit)} in {last.month:%B %Y}."
    )


def _gap(low: float | None, high: float | None) -> float:
    return 0.0 if low is None or high is None else high - low


def _hover(row: StudioTrendRow) -> str:
    return (
        f"<b>{row.month:%B %Y}</b><br>{number(row.estimate, row.unit)}"
        f"<br>{interval(row.low, row.high, row.unit)}<br>n = {row.n}"
    )


def _months(rows: Sequence[StudioTrendRow]) -> list[str] | None:
    months = sorted({row.month for row in rows})
    if not months:
        return None
    return [f"{months[0]:%Y-%m}-01", f"{months[-1]:%Y-%m}-28"] if len(months) == 1 else _padded(months)


def _padded(months: Sequence[Any]) -> list[str]:
    room = (months[-1] - months[0]) * 0.04
    return [(months[0] - room).isoformat(), (months[-1] + room).isoformat()]


def _vertical(figure: StudioFigure, rows: Sequence[StudioTrendRow], zero: str) -> dict[str, Any]:
    """Shares run from nothing to the next step above what is drawn; means show their zero."""
    if figure.unit != "share":
        return {"zeroline": True, "zerolinecolor": zero, "rangemode": "tozero", "nticks": 5}
    drawn = max([0.0, *(row.high for row in rows if row.high is not None)])
    step = 0.1 if drawn <= 0.4 else 0.25
    count = max(1, math.ceil(drawn / step - 1e-9))
    ticks = [step * place for place in range(count + 1)]
    room = 0.02 * ticks[-1]
    labels = [number(tick, "share") for tick in ticks]
    return {"range": [-room, ticks[-1] + room], "tickvals": ticks, "ticktext": labels}


def _whole(figure: StudioFigure, theme: str | None) -> list[dict[str, Any]]:
    if figure.estimate is None:
        return []
    colours = palette(theme)
    across = {"xref": "paper", "x0": 0, "x1": 1, "yref": "y", "layer": "below"}
    line = {
        "type": "line",
        **across,
        "y0": figure.estimate,
        "y1": figure.estimate,
        "line": {"color": colours.line, "width": 1.5, "dash": "dot"},
    }
    return [line]

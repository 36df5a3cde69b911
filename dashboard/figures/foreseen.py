"""What is foreseen of one knee with each setup, on one axis of tilt with neutral drawn; and expected against measured."""

from collections.abc import Sequence
from typing import Any, Final

from dashboard.figures.dot_rows import NAME_PX, lines, rules, texts
from dashboard.figures.template import axis, layout
from dashboard.figures.theme import interval, number, palette
from dashboard.questions.foresight.answers_foresight import LIKELY, NextRow, ReliabilityRow

# A row's name, and below it the band.
ROW_PX: Final = NAME_PX + 9
# So many setups of a knee stand in the picture, the nearest first; the table holds all.
MOST: Final = 4


def pictured(rows: Sequence[NextRow], side: str, setup_now: str) -> list[NextRow]:
    """The tilt with each allowed setup of one side that has a figure, nearest to neutral first; as it is among them always."""
    here = [row for row in rows if row.side == side and row.outcome == "tilt" and row.is_allowed and row.expected is not None]
    ordered = sorted(here, key=lambda row: row.place)
    first = ordered[:MOST]
    return (
        first
        if any(row.setup == setup_now for row in first)
        else [*first[: MOST - 1], *(row for row in ordered if row.setup == setup_now)]
    )


def finding(rows: Sequence[NextRow], side: str, nearer: dict[str, float | None]) -> str:
    """The title of one side's panel."""
    likely = [row.setup for row in rows if (nearer.get(row.setup) or 0) >= LIKELY]
    if not rows:
        return f"{side.capitalize()}: beyond our data"
    if not likely:
        return f"{side.capitalize()}: no setup is likely to be clearly nearer"
    return f"{side.capitalize()}: likely nearer with {' or '.join(likely[:2])}"


def alternative(rows: Sequence[NextRow], side: str) -> str:
    """The panel in words, for a reader who does not see it."""
    said = [f"{row.setup}: {number(row.expected, 'deg')} ({interval(row.low, row.high, 'deg')})" for row in rows]
    return f"Chart of the expected tilt of the {side} knee in the next capture, with its band: {'; '.join(said)}."


def span_of(rows: Sequence[NextRow]) -> tuple[float, float]:
    """The ends of the axis that both knees share, neutral within."""
    ends = [0.0, *(end for row in rows for end in (row.low, row.high) if end is not None)]
    room = 0.06 * (max(ends) - min(ends)) or 1.0
    return min(ends) - room, max(ends) + room


def foreseen_panel(
    rows: Sequence[NextRow], nearer: dict[str, float | None], span: tuple[float, float], neutral_deg: float, theme: str | None
) -> dict[str, Any]:
    """The panel as a plain dict: a setup a row, its band thin, the knee's own within it thick."""
    colours = palette(theme)
    tops = [place + 0.5 * NAME_PX / ROW_PX for place in range(len(rows))]
    marks = [place + (NAME_PX + 5) / ROW_PX for place in range(len(rows))]
    likely = [(nearer.get(row.setup) or 0) >= LIKELY for row in rows]
    names = [f"<b>{row.setup}</b>" if bold else row.setup for row, bold in zip(rows, likely, strict=True)]
    printed = [_printed(row, nearer.get(row.setup)) for row in rows]
    bands = [(y, (row.low, row.high)) for y, row in zip(marks, rows, strict=True)]
    knees = [(y, (row.knee_low, row.knee_high)) for y, row in zip(marks, rows, strict=True)]
    return {
        "data": [
            rules(len(rows), span, colours),
            lines(bands, colours.line, 1.5),  # type: ignore[arg-type]  # a pictured row has its figures
            *(
                lines([one for one, is_likely in zip(knees, likely, strict=True) if is_likely == bold], colour, 5)  # type: ignore[misc]
                for bold, colour in ((False, colours.muted), (True, colours.accent))
            ),
            texts(span[0], tops, names, "middle right", colours.ink),
            texts(span[1], tops, printed, "middle left", colours.muted),
        ],
        "layout": layout(
            theme,
            height=ROW_PX * MOST + 48,
            margin=(8, 8, 4, 44),
            xaxis=axis(theme, title="← inward   tilt in degrees   outward →", range=list(span), nticks=6, tickangle=0),
            yaxis=axis(theme, range=[MOST, 0], showticklabels=False, showgrid=False),
            shapes=[
                {"type": "rect", "xref": "x", "yref": "paper", "x0": -neutral_deg, "x1": neutral_deg, "y0": 0, "y1": 1,
                 "fillcolor": colours.grid, "opacity": 0.5, "line": {"width": 0}, "layer": "below"},
                {"type": "line", "xref": "x", "yref": "paper", "x0": 0, "x1": 0, "y0": 0, "y1": 1,
                 "line": {"color": colours.ink, "width": 1}, "layer": "below"},
            ],
        ),
    }  # fmt: skip


def _printed(row: NextRow, nearer: float | None) -> str:
    chance = "" if nearer is None else f", nearer {number(nearer, 'share')}"
    return f"{number(row.expected, 'deg')}{'' if row.setup == 'as it is' else chance}"


def reliability_panel(rows: Sequence[ReliabilityRow], theme: str | None) -> dict[str, Any]:
    """Expected against measured, a dot a tenth of the captures, on the line where both are the same."""
    colours = palette(theme)
    ends = [value for row in rows for value in (row.expected, row.measured)]
    low, high = (min(ends), max(ends)) if ends else (0.0, 1.0)
    return {
        "data": [
            {"type": "scatter", "mode": "lines", "x": [low, high], "y": [low, high], "hoverinfo": "skip",
             "line": {"color": colours.line, "width": 1}},
            {"type": "scatter", "mode": "markers", "x": [row.expected for row in rows], "y": [row.measured for row in rows],
             "marker": {"size": 9, "color": colours.accent}, "hoverinfo": "text",
             "text": [_hover(row) for row in rows]},
        ],
        "layout": layout(
            theme,
            height=300,
            margin=(56, 12, 10, 46),
            xaxis=axis(theme, title="expected, degrees", nticks=6),
            yaxis=axis(theme, title="measured, degrees", nticks=6),
        ),
    }  # fmt: skip


def _hover(row: ReliabilityRow) -> str:
    return f"expected {number(row.expected, row.unit)}<br>measured {number(row.measured, row.unit)}"


def reliability_words(rows: Sequence[ReliabilityRow]) -> str:
    """The title of the picture of expected against measured."""
    furthest = max((abs(row.measured - row.expected) for row in rows), default=0.0)
    return f"What was expected was measured: every tenth of the captures within {number(furthest, 'deg')}"

"""One rider's captures in order: tilt and sway of both knees with the typical error as a band, and numbered changes below."""

from collections.abc import Mapping, Sequence
from itertools import groupby
from typing import Any, Final

from dashboard.figures.template import axis, layout, note
from dashboard.figures.theme import CHART_TEXT_PX, Palette, day, number, palette
from dashboard.figures.timeline_frame import BOTTOM_PX, DATES_PX, Frame
from dashboard.questions.riders.answers_riders import CaptureRow, RiderTimeline

SIDES: Final = ("left", "right")
SMALL: Final = CHART_TEXT_PX - 2
# Room between two fits, in captures; and how many dates may stand beside each other on a phone.
_BETWEEN: Final = 0.7
_DATES_BESIDE: Final = 7.5
# A panel's column, unit, and the least that its axis spans, so that noise alone never fills it.
_PANELS: Final = {"tilt": ("knee_tilt_deg", "deg", 6.0), "sway": ("knee_sway_mm", "mm", 12.0)}
_AXES: Final = {"tilt": "yaxis", "sway": "yaxis2"}
_TITLES: Final = {"tilt": "Tilt in degrees, + outward", "sway": "Sway in mm"}
_ROWS: Final = {"left": 1, "right": 0}


def change_numbers(captures: Sequence[CaptureRow]) -> dict[tuple[int, str], int]:
    """The number of each change by place and side, from 1, as the chart and the tables tell it."""
    changed = [(row.place, row.side) for row in captures if row.is_changed]
    return {where: count for count, where in enumerate(changed, start=1)}


def timeline_figure(
    answer: RiderTimeline, fit: str, theme: str | None, *, panels: tuple[str, ...] = ("tilt", "sway")
) -> dict[str, Any]:
    """The panels and the rows of changes as a plain dict; `fit` is the session that stands out."""
    colours, x, frame = palette(theme), _places(answer.captures), Frame(panels)
    errors = {row.outcome: row.typical_error for row in answer.noise}
    spans = _spans(answer.captures, x)
    below_px = BOTTOM_PX if frame.is_whole else 4
    low, high = min(x.values(), default=0) - 0.6, max(x.values(), default=0) + 0.6
    return {
        "data": [
            *(
                trace
                for panel in panels
                for side in SIDES
                for trace in _knee(answer.captures, x, panel, side, errors.get(panel), colours)
            ),
            *([_changes(answer.captures, x, colours)] if frame.is_whole else []),
        ],
        "layout": layout(
            theme,
            height=DATES_PX + frame.drawn_px + below_px,
            margin=(42, 36, DATES_PX, below_px),
            xaxis=axis(
                theme,
                range=[low, high],
                showgrid=False,
                **({"anchor": "y3", **_capture_ticks(answer.captures, x)} if frame.is_whole else {"showticklabels": False}),
            ),
            **{
                _AXES[panel]: _vertical(answer.captures, panel, errors, theme, frame.domain(panel), colours.line)
                for panel in panels
            },
            **({"yaxis3": _rows_axis(theme, colours, frame)} if frame.is_whole else {}),
            shapes=[_fit_shape(span, session == fit, colours) for session, span in spans.items()],
            annotations=[
                *_titles(colours, frame),
                *_dates(answer, spans, fit, colours),
                *_side_names(answer.captures, colours, panels),
            ],
        ),
    }


def finding(answer: RiderTimeline) -> str:
    """How much stands on the timeline, for its title."""
    counts = (
        (len({row.place for row in answer.captures}), "capture"),
        (len(answer.fits), "fit"),
        (len(change_numbers(answer.captures)), "change of a foot's setup"),
    )
    captures, fits, changes = (f"{n:,} {_several(noun, n)}" for n, noun in counts)
    return f"{captures} in {fits}, {changes}"


def alternative(answer: RiderTimeline, panels: Sequence[str]) -> str:
    """The timeline in words, fit by fit; `panels`: the outcomes that are drawn."""
    fit_words = " ".join(fit.told for fit in answer.fits)
    return f"Timeline of {' and '.join(panels)} of both knees, capture after capture. {fit_words}"


def _several(noun: str, n: int) -> str:
    return noun if n == 1 else noun.replace("change ", "changes ") if " " in noun else f"{noun}s"


def _places(captures: Sequence[CaptureRow]) -> dict[int, float]:
    """Where each capture stands: one step a capture, more between two fits."""
    sessions = list(dict.fromkeys(row.session_id for row in captures))
    order = {session: count for count, session in enumerate(sessions)}
    return {row.place: row.place + _BETWEEN * order[row.session_id] for row in captures}


def _spans(captures: Sequence[CaptureRow], x: Mapping[int, float]) -> dict[str, tuple[float, float]]:
    """Where each fit begins and ends."""
    grouped = groupby(captures, lambda row: row.session_id)
    places = {session: [x[row.place] for row in rows] for session, rows in grouped}
    return {session: (min(of_fit) - 0.5, max(of_fit) + 0.5) for session, of_fit in places.items()}


def _knee(
    captures: Sequence[CaptureRow], x: Mapping[int, float], panel: str, side: str, error: float | None, colours: Palette
) -> list[dict[str, Any]]:
    """The band of one typical error to either side, then the line of one knee, broken between fits."""
    column, unit, _ = _PANELS[panel]
    rows = [row for row in captures if row.side == side and getattr(row, column) is not None]
    fits = [list(of_fit) for _, of_fit in groupby(rows, lambda row: row.session_id)]
    style = {"left": ("circle", "solid", colours.accent), "right": ("diamond-open", "dash", colours.second)}
    symbol, dash, colour = style[side]
    common: dict[str, Any] = {"type": "scatter", "xaxis": "x", "yaxis": "y" if panel == "tilt" else "y2"}
    points: list[CaptureRow | None] = [row for of_fit in fits for row in (*of_fit, None)]
    line = {
        **common,
        "mode": "lines+markers",
        "x": [row and x[row.place] for row in points],
        "y": [row and getattr(row, column) for row in points],
        "line": {"color": colour, "width": 1.5, "dash": dash},
        "marker": {"symbol": symbol, "size": 8, "color": colour, "line": {"color": colour, "width": 2}},
        "text": [_hover(row, panel, unit) if row else "" for row in points],
        "hoverinfo": "text",
    }
    return [*([_band(fits, x, column, error, colour, common)] if error else []), line]


def _band(
    fits: Sequence[Sequence[CaptureRow]],
    x: Mapping[int, float],
    column: str,
    error: float,
    colour: str,
    common: Mapping[str, Any],
) -> dict[str, Any]:
    """One outline a fit; a single capture gets a narrow box."""
    xs: list[float | None] = []
    ys: list[float | None] = []
    for rows in fits:
        points = [(x[row.place], float(getattr(row, column))) for row in rows]
        points = [(points[0][0] - 0.2, points[0][1]), *points, (points[-1][0] + 0.2, points[-1][1])]
        xs += [*(at for at, _ in points), *(at for at, _ in reversed(points)), None]
        ys += [*(value + error for _, value in points), *(value - error for _, value in reversed(points)), None]
    return {
        **common,
        "mode": "lines",
        "x": xs,
        "y": ys,
        "fill": "toself",
        "fillcolor": colour,
        "line": {"width": 0, "color": colour},
        "opacity": 0.16,
        "hoverinfo": "skip",
    }


def _hover(row: CaptureRow, panel: str, unit: str) -> str:
    value = number(getattr(row, _PANELS[panel][0]), unit)
    return f"<b>{day(row.session_date)}, capture {row.capture_no}</b><br>{row.side} {panel} {value}<br>{_wrapped(row.words)}"


def _wrapped(words: str) -> str:
    return words.replace("; ", ";<br>").replace("<br><br>", "<br>")


def _changes(captures: Sequence[CaptureRow], x: Mapping[int, float], colours: Palette) -> dict[str, Any]:
    """A numbered mark for each change, in the row of its foot."""
    numbers = change_numbers(captures)
    rows = [row for row in captures if row.is_changed]
    return {
        "type": "scatter",
        "mode": "markers+text",
        "xaxis": "x",
        "yaxis": "y3",
        "x": [x[row.place] for row in rows],
        "y": [_ROWS[row.side] for row in rows],
        "marker": {"symbol": "square", "size": 17, "color": colours.soft, "line": {"color": colours.line, "width": 1}},
        "text": [str(numbers[row.place, row.side]) for row in rows],
        "textfont": {"size": SMALL, "color": colours.ink},
        "hovertext": [f"<b>{numbers[row.place, row.side]}</b> {row.side} foot<br>{_wrapped(row.words)}" for row in rows],
        "hoverinfo": "text",
        "cliponaxis": False,
    }


def _capture_ticks(captures: Sequence[CaptureRow], x: Mapping[int, float]) -> dict[str, Any]:
    """The capture's number within its fit, under each place."""
    numbers = {row.place: row.capture_no for row in captures}
    return {"tickvals": [x[place] for place in numbers], "ticktext": [str(n) for n in numbers.values()], "tickangle": 0}


def _vertical(
    captures: Sequence[CaptureRow],
    panel: str,
    errors: Mapping[str, float | None],
    theme: str | None,
    domain: list[float],
    line: str,
) -> dict[str, Any]:
    """The axis of a panel: all that is drawn, zero where it means neutral, and never less than the panel's span."""
    column, _, least = _PANELS[panel]
    around = errors.get(panel) or 0.0
    values = [value for row in captures if (value := getattr(row, column)) is not None]
    zero = line if panel == "tilt" else None
    ends = [0.0] if zero or not values else []
    ends += [min(values) - around, max(values) + around] if values else []
    missing = max(0.0, least - (max(ends) - min(ends))) / 2 + 0.04 * least
    zero_line: dict[str, Any] = {"zeroline": True, "zerolinecolor": zero, "zerolinewidth": 1.5} if zero else {}
    return axis(
        theme,
        domain=domain,
        range=[min(ends) - missing, max(ends) + missing],
        nticks=6,
        ticklabelstandoff=4,
        anchor="x",
        **zero_line,
    )


def _rows_axis(theme: str | None, colours: Palette, frame: Frame) -> dict[str, Any]:
    return axis(
        theme,
        domain=frame.domain("changes"),
        range=[-0.5, 1.5],
        tickvals=list(_ROWS.values()),
        ticktext=list(_ROWS),
        tickfont={"color": colours.ink, "size": SMALL},
        showgrid=False,
        ticklabelstandoff=4,
        anchor="x",
    )


def _fit_shape(span: tuple[float, float], is_chosen: bool, colours: Palette) -> dict[str, Any]:
    """The ground of one fit; the chosen one is darker and framed."""
    return {
        "type": "rect",
        "xref": "x",
        "x0": span[0],
        "x1": span[1],
        "yref": "paper",
        "y0": 0,
        "y1": 1,
        "layer": "below",
        "fillcolor": colours.soft if is_chosen else "rgba(0,0,0,0)",
        "line": {"color": colours.line if is_chosen else colours.grid, "width": 1},
    }


def _titles(colours: Palette, frame: Frame) -> list[dict[str, Any]]:
    """The panels' names above them, flush with the chart's left edge."""
    rows = ("changes",) if frame.is_whole else ()
    tops = {_TITLES.get(panel, "Changes"): frame.top_of(panel) for panel in (*frame.panels, *rows)}
    return [
        note(
            text,
            xref="paper",
            x=0,
            xanchor="left",
            xshift=-38,
            yref="paper",
            y=1 - top / frame.drawn_px,
            yanchor="bottom",
            yshift=4,
            font={"size": CHART_TEXT_PX - 1, "color": colours.muted},
        )
        for text, top in tops.items()
    ]


def _dates(answer: RiderTimeline, spans: Mapping[str, tuple[float, float]], fit: str, colours: Palette) -> list[dict[str, Any]]:
    """The day of each fit above it; where they would run into each other, of some and of the chosen one."""
    total = max((end for _, end in spans.values()), default=1.0) - min((start for start, _ in spans.values()), default=0.0)
    days = {row.session_id: row.session_date for row in answer.fits}
    middles = {session: sum(span) / 2 for session, span in spans.items()}
    dated_middles: list[float] = [middles[fit]] if fit in middles else []
    notes = []
    for session, middle in middles.items():
        if session != fit and any(abs(middle - other) < total / _DATES_BESIDE for other in dated_middles):
            continue
        dated_middles.append(middle)
        date = days[session]
        text = f"{date.day} {date:%b}<br>{date.year}"
        notes.append(
            note(
                f"<b>{text}</b>" if session == fit else text,
                x=middle,
                xref="x",
                y=1,
                yref="paper",
                yanchor="bottom",
                yshift=22,
                font={"size": SMALL - 1, "color": colours.ink if session == fit else colours.muted},
            )
        )
    return notes


def _side_names(captures: Sequence[CaptureRow], colours: Palette, panels: Sequence[str]) -> list[dict[str, Any]]:
    """Left and right beside the end of each line of both panels, moved apart where the knees end alike."""
    notes = []
    for panel in panels:
        yref = _AXES[panel].replace("axis", "")
        column, _, least = _PANELS[panel]
        last = {row.side: row for row in captures if getattr(row, column) is not None}
        ends = {side: float(getattr(row, column)) for side, row in last.items()}
        are_close = len(ends) == 2 and abs(ends["left"] - ends["right"]) < least / 6
        for side, value in ends.items():
            is_upper = value > ends["right"] if side == "left" else value >= ends.get("left", value)
            shift = (7 if is_upper else -7) if are_close else 0
            notes.append(
                note(
                    side,
                    xref="paper",
                    x=1,
                    xanchor="left",
                    xshift=4,
                    yref=yref,
                    y=value,
                    yshift=shift,
                    font={"size": SMALL, "color": colours.ink},
                )
            )
    return notes

"""The share of fits whose rider has come back by each day, as steps, with the numbers at risk below on the same days."""

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from dashboard.figures.dot_rows import no_figure
from dashboard.figures.names import plain
from dashboard.figures.template import axis, layout, note
from dashboard.figures.theme import CHART_TEXT_PX, Palette, interval, number, on_paper, palette, shades
from dashboard.questions.returns.answers_returns import AtRiskRow, ReturnCurveRow

# Curves differ by dash and by the name at their end; the shade only orders them.
DASHES: Final = ("solid", "dash", "dot", "dashdot", "longdash", "longdashdot")
PLOT_PX: Final = 330
# From the plot's lower edge to the first line of numbers at risk, and from line to line.
_BELOW_PX: Final = 84
_LINE_PX: Final = 36
_BELOW_BRIEF_PX: Final = 58
_RIGHT_PX: Final = 108
_LABEL_PX: Final = CHART_TEXT_PX - 1
# Room above the plot's highest tick, so that a name at the top is whole.
_ROOM_PX: Final = 14
# The words of a curve's name are broken into lines of about this many letters.
_LETTERS: Final = 13


@dataclass(frozen=True)
class Curve:
    """What is drawn of one group: days and shares from the fit on, to `last_day`, the last of the grid on which enough fits are
    still counted; nothing is claimed of a later day."""

    level: str | None
    rows: tuple[ReturnCurveRow, ...]
    at_risk: tuple[AtRiskRow, ...]
    last_day: int

    @property
    def days(self) -> list[int]:
        return [0, *(row.days for row in self.rows), self.last_day]

    @property
    def end(self) -> float:
        return self.rows[-1].returned if self.rows else 0.0

    def steps(self, column: str) -> list[float]:
        """A column from nothing at the fit to its last value; an end that cannot be told takes the curve's own value."""
        values = [row.returned if (value := getattr(row, column)) is None else value for row in self.rows]
        return [0.0, *values, values[-1] if values else 0.0]


def curves_of(curve: Sequence[ReturnCurveRow], at_risk: Sequence[AtRiskRow], enough: int) -> list[Curve]:
    """One a group, in the answer's order, up to the last day on which at least `enough` fits are still counted."""
    curves = []
    for level in dict.fromkeys(row.level for row in at_risk):
        grid = tuple(row for row in at_risk if row.level == level)
        last_day = max((row.days for row in grid if row.n_at_risk >= enough), default=0)
        rows = tuple(row for row in curve if row.level == level and row.days <= last_day)
        if last_day:
            curves.append(Curve(level, rows, grid, last_day))
    return curves


def curve_figure(curves: Sequence[Curve], theme: str | None, *, plot_px: int = PLOT_PX) -> dict[str, Any]:
    """The curves as a plain dict. With levels, the curve of all fits stands behind them; alone, it has its interval.

    `plot_px`: the height of the plot alone; below the least that is usual, the days are named with the fits still counted.
    """
    if not curves:
        return no_figure(theme, "not enough fits yet")
    colours = palette(theme)
    inks = _inks(curves, theme, colours)
    names = [group_name(curve.level) for curve in curves]
    top, is_brief = _top(curves), plot_px < PLOT_PX
    plot_px = max(plot_px, _LINE_PX * len(curves))
    to_first_px = _BELOW_BRIEF_PX if is_brief else _BELOW_PX
    below_px = to_first_px + (_LINE_PX // 2 if is_brief else _LINE_PX * len(curves))
    days = [row.days for row in curves[0].at_risk]
    ticks = days[::2] if is_brief else days
    step_share = 0.25 if is_brief else 0.1
    steps = [step_share * step for step in range(round(top / step_share + 1e-9) + 1) if step_share * step <= top + 1e-9]
    shown_top = top * (1 + _ROOM_PX / plot_px)
    return {
        "data": _traces(curves, inks, colours),
        "layout": layout(
            theme,
            height=plot_px + below_px + 8,
            margin=(60, _RIGHT_PX, 8, below_px),
            xaxis=axis(
                theme,
                range=[0, days[-1]],
                tickvals=ticks,
                ticktext=[f"{day}" for day in ticks],
                title="" if is_brief else "days since the fit",
                showgrid=False,
                showline=True,
                linecolor=colours.line,
            ),
            yaxis=axis(
                theme,
                title="share of fits",
                range=[0, shown_top],
                tickvals=steps,
                ticktext=[number(step, "share") for step in steps],
                ticklabelstandoff=4,
            ),
            annotations=[
                *_end_names(curves, names, inks, shown_top / plot_px),
                *_numbers_at_risk(curves, names, colours, to_first_px),
            ],
            shapes=_rules(curves, inks),
            meta={"on_paper": on_paper(theme) | dict(zip(inks, _inks(curves, "light", palette("light")), strict=True))},
        ),
    }


def group_name(level: str | None) -> str:
    """The level as a name; all fits where there is none."""
    words = plain(level)
    return words[:1].upper() + words[1:] if level else "All fits"


def finding(curves: Sequence[Curve], window_days: int) -> str:
    """How many had come back by the end of the window, for the title, or by the last day of which that can be told."""
    if not curves:
        return "Riders coming back: not enough yet"
    day = min(window_days, curves[0].last_day)
    row = at_day(curves[0], day)
    if row is None:
        return f"No rider came back within {day} days"
    ends = interval(row.returned_low, row.returned_high, "share")
    words = f"By day {day}, {number(row.returned, 'share')} of fits had been seen again ({ends})"
    return words if day == window_days else f"{words}; later days rest on too few"


def at_day(curve: Curve, day: int) -> ReturnCurveRow | None:
    """The step that holds on a day: the last one on or before it."""
    return next((row for row in reversed(curve.rows) if row.days <= day), None)


def alternative(curves: Sequence[Curve]) -> str:
    """Tells the curves in words, for a reader who does not see them."""
    curve_words = [
        f"{group_name(curve.level)}: {curve.at_risk[0].n_at_risk:,} fits at the start, {number(curve.end, 'share')} seen again "
        f"by day {curve.last_day}, {curve.at_risk[-1].n_at_risk:,} still counted on day {curve.at_risk[-1].days}"
        for curve in curves
    ]
    return f"Step curves of the share of fits seen again by days since the fit. {'; '.join(curve_words) or 'Not enough yet'}."


def _inks(curves: Sequence[Curve], theme: str | None, colours: Palette) -> list[str]:
    """One ink a curve: the accent for all fits alone; beside levels, muted for all fits and one hue for the levels."""
    if len(curves) < 2:
        return [colours.accent] * len(curves)
    levels = iter(shades(theme, sum(curve.level is not None for curve in curves)))
    return [colours.muted if curve.level is None else next(levels) for curve in curves]


def _top(curves: Sequence[Curve]) -> float:
    """Gives the share at which the axis ends: the next tenth above everything drawn."""
    drawn = [0.1]
    for curve in curves:
        drawn += curve.steps("returned_high" if len(curves) == 1 else "returned")
    return min(1.0, 0.1 * (int(max(drawn) / 0.1 + 1e-9) + 1))


def _traces(curves: Sequence[Curve], inks: Sequence[str], colours: Palette) -> list[dict[str, Any]]:
    if len(curves) == 1:
        (curve,) = curves
        return [
            _step(curve, "returned_low", "rgba(0,0,0,0)", "solid", 0),
            {**_step(curve, "returned_high", "rgba(0,0,0,0)", "solid", 0), "fill": "tonexty", "fillcolor": colours.soft},
            _step(curve, "ended_otherwise", colours.muted, "dot", 1.75),
            *_curve_traces(curve, inks[0], "solid", 2.75),
        ]
    lines = zip(curves, inks, _dashes(curves), strict=True)
    return [
        trace for curve, ink, dash in lines for trace in _curve_traces(curve, ink, dash, 1.5 if curve.level is None else 2.25)
    ]


def _dashes(curves: Sequence[Curve]) -> list[str]:
    """Gives each level a dash of its own in turn; the curve of all fits is solid."""
    dashes = itertools.cycle(DASHES if len(curves) < 2 else DASHES[1:])
    return ["solid" if curve.level is None else next(dashes) for curve in curves]


def _step(curve: Curve, column: str, colour: str, dash: str, width: float) -> dict[str, Any]:
    return {
        "type": "scatter",
        "mode": "lines",
        "x": curve.days,
        "y": curve.steps(column),
        "line": {"shape": "hv", "color": colour, "width": width, "dash": dash},
        "hoverinfo": "skip",
    }


def _curve_traces(curve: Curve, colour: str, dash: str, width: float) -> list[dict[str, Any]]:
    words = [_hover(curve, row) for row in curve.rows]
    text = ["", *words, words[-1] if words else ""]
    return [{**_step(curve, "returned", colour, dash, width), "text": text, "hoverinfo": "text"}]


def _hover(curve: Curve, row: ReturnCurveRow) -> str:
    return (
        f"<b>{group_name(curve.level)}, day {row.days}</b><br>{number(row.returned, 'share')} seen again"
        f"<br>{interval(row.returned_low, row.returned_high, 'share')}<br>{row.n_at_risk:,} fits still counted before"
    )


def _broken(name: str) -> str:
    """A name on two lines where it is long."""
    if len(name) <= _LETTERS:
        return name
    words = name.split(" ")
    first = 1
    while first < len(words) - 1 and len(" ".join(words[: first + 1])) <= _LETTERS:
        first += 1
    return f"{' '.join(words[:first])}<br>{' '.join(words[first:])}"


def spread(wanted: Sequence[float], gap: float, top: float) -> list[float]:
    """Places for labels, as near as may be to the wanted ones, at least `gap` apart and at most `top`, in the same order."""
    order = sorted(range(len(wanted)), key=lambda at: -wanted[at])
    places: dict[int, float] = {}
    ceiling = top
    for at in order:
        places[at] = min(wanted[at], ceiling)
        ceiling = places[at] - gap
    # What was pushed down is shared out, as far as the top allows.
    back = min((max((wanted[at] - places[at] for at in order), default=0.0)) / 2, top - max(places.values(), default=top))
    return [places[at] + back for at in range(len(wanted))]


def _end_names(curves: Sequence[Curve], names: Sequence[str], inks: Sequence[str], share_px: float) -> list[dict[str, Any]]:
    """Each curve's name right of its end, moved apart where they would meet, with a short line back to the curve.

    A curve that ends before the others is named by its line of numbers at risk alone. `share_px`: the share one px stands for.
    """
    full = max((curve.last_day for curve in curves), default=0)
    ends = [(curve.end, name, ink) for curve, name, ink in zip(curves, names, inks, strict=True) if curve.last_day == full]
    if len(curves) == 1:
        nothing = (curves[0].steps("ended_otherwise")[-1], "booking came to nothing", inks[0])
        ends = [(curves[0].end, "seen again", inks[0]), nothing]
    highest = max((end for end, *_ in ends), default=0.0)
    places = spread([end for end, *_ in ends], _LINE_PX * share_px, highest + _ROOM_PX * share_px)
    return [
        {
            "text": _broken(name),
            "x": full,
            "y": end,
            "ax": 14,
            "ay": (end - place) / share_px,
            "axref": "pixel",
            "ayref": "pixel",
            "xanchor": "left",
            "align": "left",
            "showarrow": True,
            "arrowhead": 0,
            "arrowwidth": 1,
            "arrowcolor": ink,
            "standoff": 2,
            "font": {"size": _LABEL_PX},
        }
        for place, (end, name, ink) in zip(places, ends, strict=True)
    ]


def _rules(curves: Sequence[Curve], inks: Sequence[str]) -> list[dict[str, Any]]:
    """Above each line of numbers at risk a rule drawn like its curve, which ties the two together."""
    if len(curves) < 2:
        return []
    return [
        {
            "type": "line",
            "xref": "paper",
            "x0": 0,
            "x1": 1,
            "yref": "paper",
            "ysizemode": "pixel",
            "yanchor": 0,
            "y0": _LINE_PX * (0.5 - line) - _BELOW_PX,
            "y1": _LINE_PX * (0.5 - line) - _BELOW_PX,
            "line": {"color": ink, "width": 1.5 if curve.level is None else 2, "dash": dash},
        }
        for line, (curve, ink, dash) in enumerate(zip(curves, inks, _dashes(curves), strict=True))
    ]


def _numbers_at_risk(curves: Sequence[Curve], names: Sequence[str], colours: Palette, to_first_px: int) -> list[dict[str, Any]]:
    """A heading, and a line of numbers a curve, each number under its day and the name at the right as at the curve."""
    is_brief = to_first_px == _BELOW_BRIEF_PX
    muted = {"size": _LABEL_PX, "color": colours.muted}
    below = {"yref": "paper", "y": 0, "yanchor": "middle"}
    head = {"xref": "paper", "x": 0, "xanchor": "left", "yshift": (22 if is_brief else 30) - to_first_px, "font": muted}
    heading = "<b>Fits still counted</b> by days since the fit" if is_brief else "<b>Fits still counted</b>: not yet seen again"
    words = [note(heading, **head, **below)]
    for line, (curve, name) in enumerate(zip(curves, names, strict=True)):
        at = {**below, "yshift": -to_first_px - _LINE_PX * line}
        counts = curve.at_risk[::2] if is_brief else curve.at_risk
        words += [note(_brief(row.n_at_risk), x=row.days, font={"size": _LABEL_PX}, **at) for row in counts]
        words.append(note(_broken(name), xref="paper", x=1, xanchor="left", xshift=18, align="left", font=muted, **at))
    return words


def _brief(n: int) -> str:
    """A count that fits under its day on a narrow screen; the table holds it whole."""
    return f"{n}" if n < 10_000 else f"{round(n / 1000)}k"

"""The effect of a whole dose against none: told intervals, both estimates, the straight line, and where the data end."""

from collections.abc import Sequence
from typing import Any, Final

from dashboard.figures.names import OUTCOMES, unit_words
from dashboard.figures.template import axis, layout, note
from dashboard.figures.theme import CHART_TEXT_PX, Palette, interval, number, palette
from dashboard.questions.effects.answers_effects import DoseRow
from dashboard.questions.selection.numbers import spoken, spoken_p

HEIGHT_PX: Final = 300
DOSED: Final = {"shim": "Shims in all", "stance": "Stance in mm"}
# The steps between doses; a dose beyond the last is drawn half a step into what is not known.
_STEP: Final = {"shim": 1.0, "stance": 2.0}


def of_support(rows: Sequence[DoseRow], outcome: str, support: str) -> list[DoseRow]:
    """The doses of one support on one outcome, in order."""
    return sorted((row for row in rows if row.outcome == outcome and row.support == support), key=lambda row: row.dose)


def dose_name(row: DoseRow) -> str:
    """Writes a dose with its unit, as in: 2 shims; −4 mm."""
    size = spoken(row.dose, 0)
    return f"{size} shim{'' if abs(row.dose) == 1 else 's'}" if row.support == "shim" else f"{size}\u202fmm"


def finding(rows: Sequence[DoseRow], outcome: str, support: str) -> str:
    """Whether the doses follow a straight line, for the title."""
    name, outcome_name = DOSED[support].split(" in ")[0], OUTCOMES[outcome].name.lower()
    estimated = [row for row in rows if row.pooled is not None]
    if not estimated:
        return f"{name} and {outcome_name}: no two doses were changed often enough yet"
    ends = f"known from {dose_name(estimated[0])} to {dose_name(estimated[-1])}"
    if all(row.line_p_value is None for row in estimated):
        return f"{name} and {outcome_name}: {ends}"
    line = "not a straight line" if any(row.is_bent for row in estimated) else "no bend in the line seen"
    return f"{name} and {outcome_name}: {line}, {ends}"


def line_test(rows: Sequence[DoseRow]) -> str | None:
    """The test behind the title, for the fold with the numbers; None where the doses are too few for one."""
    tested = [row for row in rows if row.pooled is not None and row.line_p_value is not None]
    if not tested:
        return None
    rough = ", a rough figure, since it rests on few riders" if any(row.is_rough for row in tested) else ""
    q_value = "" if tested[0].line_q_value is None else f"; among all supports and outcomes, q = {tested[0].line_q_value:.3f}"
    return f"Test of the straight line against any other: {spoken_p(tested[0].line_p_value or 0.0)}{rough}{q_value}."


def alternative(rows: Sequence[DoseRow], outcome: str, support: str) -> str:
    """Tells the chart in words, for a reader who does not see it."""
    said = [
        f"{dose_name(row)}: {interval(row.told_low, row.told_high, row.unit, effect=True)}"
        f"{'' if row.direction else ', no clear change'}"
        if row.pooled is not None
        else f"{dose_name(row)}: not enough yet, {row.n_changes} changes"
        for row in rows
    ]
    dose_words = "; ".join(said) or "No dose was changed yet"
    return f"Effect on {OUTCOMES[outcome].axis} of {DOSED[support].lower()}, against none. {dose_words}."


def dose_chart(rows: Sequence[DoseRow], outcome: str, support: str, theme: str | None) -> dict[str, Any]:
    """The figure of one support as a plain dict; `rows` are its doses in order."""
    colours, step = palette(theme), _STEP[support]
    estimated = [row for row in rows if row.pooled is not None]
    sizes = [0.0, *(row.dose for row in rows)]
    low, high = min(sizes) - 0.75 * step, max(sizes) + 0.75 * step
    known = [0.0, *(row.dose for row in estimated)]
    edges = (min(known) - 0.5 * step, max(known) + 0.5 * step)
    ticks = sorted(set(sizes))
    labels = {row.dose: f"{spoken(row.dose, 0)}<br>{row.n_changes:,}" for row in rows}
    words = OUTCOMES[outcome]
    return {
        "data": _traces(rows, estimated, colours, 0.12 * step),
        "layout": layout(
            theme,
            height=HEIGHT_PX,
            margin=(62, 12, 22, 64),
            xaxis=axis(
                theme,
                range=[low, high],
                tickvals=ticks,
                ticktext=[labels.get(tick, "none") for tick in ticks],
                showgrid=False,
                title=f"{DOSED[support].lower()}; below, changes",
            ),
            yaxis=axis(
                theme,
                nticks=6,
                zeroline=True,
                zerolinecolor=colours.ink,
                zerolinewidth=1,
                ticklabelstandoff=4,
                title=f"{words.less} ← {unit_words(outcome)} → {words.more}",
            ),
            shapes=[_beyond(low, edges[0], colours), _beyond(edges[1], high, colours)],
            annotations=[
                note(
                    "shaded: beyond our data",
                    xref="paper",
                    x=1,
                    yref="paper",
                    y=1,
                    xanchor="right",
                    yanchor="bottom",
                    font={"size": CHART_TEXT_PX - 1, "color": colours.muted},
                )
            ],
        ),
    }


def _traces(rows: Sequence[DoseRow], estimated: Sequence[DoseRow], colours: Palette, beside: float) -> list[dict[str, Any]]:
    few = [row for row in rows if row.pooled is None]
    within = [row for row in estimated if row.within is not None]
    line = sorted([(0.0, 0.0), *((row.dose, row.line) for row in estimated if row.line is not None)])
    return [
        {
            "type": "scatter",
            "mode": "lines",
            "x": [dose for dose, _ in line],
            "y": [value for _, value in line],
            "line": {"color": colours.line, "width": 1.25, "dash": "dash"},
            "hoverinfo": "skip",
        },
        _told_intervals([row for row in estimated if not row.direction], colours.line, 3),
        _told_intervals([row for row in estimated if row.direction], colours.accent, 5),
        _estimates(estimated, "pooled", -beside, {"symbol": "circle", "size": 7, "color": colours.accent}, 1.5),
        _estimates(
            within,
            "within",
            beside,
            {
                "symbol": "diamond",
                "size": 7,
                "color": colours.surface,
                "line": {"color": colours.second, "width": 2},
            },
            1.5,
        ),
        {
            "type": "scatter",
            "mode": "markers",
            "x": [row.dose for row in few],
            "y": [0.0 for _ in few],
            "marker": {"symbol": "circle-open", "size": 7, "color": colours.muted},
            "text": [f"<b>{dose_name(row)}</b><br>not enough yet, {row.n_changes} changes" for row in few],
            "hoverinfo": "text",
        },
    ]


def _told_intervals(rows: Sequence[DoseRow], colour: str, width: float) -> dict[str, Any]:
    """The told interval of each dose as an upright line."""
    return {
        "type": "scatter",
        "mode": "lines",
        "x": [x for row in rows for x in (row.dose, row.dose, None)],
        "y": [y for row in rows for y in (row.told_low, row.told_high, None)],
        "line": {"color": colour, "width": width},
        "hoverinfo": "skip",
    }


def _estimates(rows: Sequence[DoseRow], estimate: str, beside: float, marker: dict[str, Any], width: float) -> dict[str, Any]:
    values = [getattr(row, estimate) for row in rows]
    colour = marker["line"]["color"] if "line" in marker else marker["color"]
    return {
        "type": "scatter",
        "mode": "markers",
        "x": [row.dose + beside for row in rows],
        "y": values,
        "error_y": {
            "type": "data",
            "symmetric": False,
            "array": [getattr(row, f"{estimate}_high") - value for row, value in zip(rows, values, strict=True)],
            "arrayminus": [value - getattr(row, f"{estimate}_low") for row, value in zip(rows, values, strict=True)],
            "color": colour,
            "thickness": width,
            "width": 0,
        },
        "marker": marker,
        "text": [_hover(row, estimate) for row in rows],
        "hoverinfo": "text",
    }


def _hover(row: DoseRow, estimate: str) -> str:
    name = {"pooled": "Pooled estimate", "within": "Within-knee estimate"}[estimate]
    ends = interval(getattr(row, f"{estimate}_low"), getattr(row, f"{estimate}_high"), row.unit, effect=True)
    value = number(getattr(row, estimate), row.unit, effect=True)
    return f"<b>{dose_name(row)}</b><br>{name}: {value}<br>{ends}<br>{row.n_changes:,} changes, {row.n_riders:,} riders"


def _beyond(start: float, end: float, colours: Palette) -> dict[str, Any]:
    """The ground where no dose was changed often enough."""
    return {
        "type": "rect",
        "x0": start,
        "x1": end,
        "yref": "paper",
        "y0": 0,
        "y1": 1,
        "fillcolor": colours.soft,
        "line": {"width": 0},
        "layer": "below",
    }

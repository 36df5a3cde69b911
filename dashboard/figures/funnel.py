"""Funnel of one outcome: each fitter's observed less expected figure against the number of fits, within exact limits."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from dashboard.figures.scales import even_ticks
from dashboard.figures.template import axis, layout, note, words_only
from dashboard.figures.theme import CHART_TEXT_PX, NOTHING, Palette, interval, number, palette
from dashboard.questions.coaching.answers_fitters import BETWEEN, BEYOND, WITHIN, FitterRow, FunnelRow

HEIGHT: Final = 216
SMALL: Final = CHART_TEXT_PX - 1
# Each place differs in shape as well as in how it is filled; none is a colour of praise or blame.
MARKS: Final = {WITHIN: "circle", BETWEEN: "circle-open", BEYOND: "diamond"}


@dataclass(frozen=True)
class FitterOutcome:
    """An outcome's name, the axis of its difference, and what lies above and below the line."""

    name: str
    axis: str
    above: str
    below: str


OUTCOMES: Final = {
    "side_difference_left": FitterOutcome("Side differences left", "percentage points", "more are left", "fewer are left"),
    "return_rate": FitterOutcome("Riders who came back", "percentage points", "more come back", "fewer come back"),
    "nearer_neutral": FitterOutcome("Knees nearer to neutral", "degrees", "nearer to neutral", "less near to neutral"),
    "comfort_gained": FitterOutcome("Comfort gained", "points", "more comfort", "less comfort"),
}


def funnel_figure(
    fitters: Sequence[FitterRow],
    funnel: Sequence[FunnelRow],
    outcome: str,
    levels: tuple[str, str],
    theme: str | None,
    names: Mapping[str, str] | None = None,
) -> dict[str, Any]:
    """The funnel as a plain dict; `levels` are the inner and the outer level as printed, `names` of fitters by id."""
    colours = palette(theme)
    rows = [row for row in fitters if row.outcome == outcome and row.difference is not None]
    limits = [row for row in funnel if row.outcome == outcome]
    if not rows and not limits:
        return words_only(theme, "not enough yet to say what is to be expected of any fitter's riders")
    unit = next((row.unit for row in fitters if row.outcome == outcome), "points")
    most = max([*(row.n_fits for row in rows), *(row.n_fits for row in limits)], default=10)
    return {
        "data": [*_curves(limits, colours), *_points(rows, names or {}, colours)],
        "layout": layout(
            theme,
            height=HEIGHT,
            margin=(52, 52, 30, 46),
            xaxis=axis(theme, title="number of fits", range=[0, most * 1.03], nticks=7, showgrid=False, ticklabelstandoff=4),
            yaxis=axis(theme, ticklabelstandoff=4, **_vertical(rows, limits, unit)),
            shapes=[_target(colours)],
            annotations=[*_directions(outcome, colours), *_names_of_curves(limits, levels, colours)],
        ),
    }


def finding(fitters: Sequence[FitterRow], outcome: str, levels: tuple[str, str], names: Mapping[str, str] | None = None) -> str:
    """Who lies where, by name where one is given, else by id, for the title."""
    name = OUTCOMES[outcome].name
    places = {
        (names or {}).get(row.fitter_id, row.fitter_id): place
        for row in fitters
        if row.outcome == outcome and (place := row.place)
    }
    absent = [row.words.partition(": ")[2] for row in fitters if row.outcome == outcome and "ot recorded here" in row.words]
    if absent:
        return f"{name}: {absent[0][0].lower()}{absent[0][1:].removesuffix('.')}"
    if not places:
        return f"{name}: no fitter can be compared yet"
    beyond, between = ([fitter for fitter, place in places.items() if place == wanted] for wanted in (BEYOND, BETWEEN))
    if beyond:
        return f"{name}: {_listed(beyond)} beyond the {levels[1]} limits, to look at together"
    if between:
        return f"{name}: {_listed(between)} outside the {levels[0]} limits, no more than chance may bring"
    who = f"all {len(places)} fitters" if len(places) > 1 else _listed(list(places))
    return f"{name}: {who} within the {levels[0]} limits"


def alternative(fitters: Sequence[FitterRow], outcome: str) -> str:
    """The funnel in words, fitter by fitter."""
    fitter_words = " ".join(row.words for row in fitters if row.outcome == outcome)
    return f"Funnel of {OUTCOMES[outcome].name.lower()}, observed less expected against the number of fits. {fitter_words}"


def difference(value: float | None, unit: str) -> str:
    """A difference with its sign, as the words of the answer tell it; of shares in percentage points."""
    if value is None:
        return NOTHING
    text = f"{100 * value:+.0f}" if unit == "share" else f"{value:+.2f}"
    return text.replace("-", "−") if float(text) else text[1:]


def _listed(names: Sequence[str]) -> str:
    return " and ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)


def _curves(limits: Sequence[FunnelRow], colours: Palette) -> list[dict[str, Any]]:
    styles = (("outer_low", "solid"), ("inner_low", "dash"), ("inner_high", "dash"), ("outer_high", "solid"))
    return [
        {
            "type": "scatter",
            "mode": "lines",
            "x": [row.n_fits for row in limits],
            "y": [getattr(row, key) for row in limits],
            "line": {"color": colours.line, "width": 1.5, "dash": dash},
            "hoverinfo": "skip",
        }
        for key, dash in styles
    ]


def _points(rows: Sequence[FitterRow], names: Mapping[str, str], colours: Palette) -> list[dict[str, Any]]:
    """One trace a place, each point named by the fitter's name or id on a side where no other point stands."""
    traces = []
    for place, symbol in MARKS.items():
        here = [row for row in rows if row.place == place]
        traces.append(
            {
                "type": "scatter",
                "mode": "markers+text",
                "x": [row.n_fits for row in here],
                "y": [row.difference for row in here],
                "marker": {
                    "symbol": symbol,
                    "size": 11,
                    "color": colours.accent,
                    "line": {"color": colours.accent, "width": 2},
                },
                "text": [names.get(row.fitter_id, row.fitter_id) for row in here],
                "textposition": [_free_side(row, rows) for row in here],
                "textfont": {"size": SMALL, "color": colours.ink},
                "hovertext": [_hover(row, names.get(row.fitter_id, row.fitter_id)) for row in here],
                "hoverinfo": "text",
                "cliponaxis": False,
            }
        )
    return traces


# Where a name may stand, each with the middle of the name from the point in its own widths and heights. Away from the line is
# tried first, toward it last.
_SIDES: Final = {"top center": (0.0, 1.0), "bottom center": (0.0, -1.0), "middle right": (0.6, 0.0), "middle left": (-0.6, 0.0)}
# Roughly the share of the plot that a name takes across and up.
_NAME_SHARE: Final = (0.12, 0.1)


def _free_side(row: FitterRow, rows: Sequence[FitterRow]) -> str:
    """The first side on which the name covers no other point; the first of all where none is free."""
    most = 1.03 * max(one.n_fits for one in rows)
    reach = 2.5 * max(abs(one.difference or 0) for one in rows) or 1.0
    above = (row.difference or 0) >= 0
    order = sorted(_SIDES, key=lambda side: side.startswith("bottom" if above else "top"))
    others = [
        ((one.n_fits - row.n_fits) / most, ((one.difference or 0) - (row.difference or 0)) / reach)
        for one in rows
        if one is not row
    ]
    wide, high = _NAME_SHARE

    def is_free(side: str) -> bool:
        across, up = _SIDES[side]
        return not any(abs(x - across * wide) < 0.6 * wide and abs(y - up * high) < 1.2 * high for x, y in others)

    return next((side for side in order if is_free(side)), order[0])


def _hover(row: FitterRow, name: str) -> str:
    return (
        f"<b>{name}</b><br>observed {number(row.observed, row.unit)}, expected {number(row.expected, row.unit)}"
        f"<br>{interval(row.difference_low, row.difference_high, row.unit)}<br>{row.n_fits} fits, {row.n_riders} riders"
    )


def _vertical(rows: Sequence[FitterRow], limits: Sequence[FunnelRow], unit: str) -> dict[str, Any]:
    """As far as the points and the limits of the smaller half of the fitters reach, the same both ways."""
    reach = [abs(row.difference) for row in rows if row.difference is not None]
    fewest = min((row.n_fits for row in rows), default=0)
    nearest = min(limits, key=lambda row: abs(row.n_fits - fewest), default=None)
    if nearest:
        reach += [abs(nearest.outer_low), abs(nearest.outer_high)]
    end = 1.25 * max(reach, default=1.0)
    ticks = even_ticks(end, 7)
    return {"range": [-end, end], "tickvals": ticks, "ticktext": [difference(tick, unit) for tick in ticks]}


def _target(colours: Palette) -> dict[str, Any]:
    return {
        "type": "line",
        "xref": "paper",
        "x0": 0,
        "x1": 1,
        "yref": "y",
        "y0": 0,
        "y1": 0,
        "layer": "below",
        "line": {"color": colours.ink, "width": 1.5},
    }


def _directions(outcome: str, colours: Palette) -> list[dict[str, Any]]:
    """What above and below mean, in the corners; the axis's name over it."""
    words = OUTCOMES[outcome]
    grey = {"size": SMALL, "color": colours.muted}
    corner = {"xref": "paper", "yref": "paper", "font": grey}
    return [
        note(f"observed − expected, {words.axis}", x=0, xanchor="left", xshift=-48, y=1, yanchor="bottom", yshift=8, **corner),
        note(f"↑ {words.above}", x=1, xanchor="right", xshift=-6, y=1, yanchor="top", **corner),
        note(f"↓ {words.below}", x=1, xanchor="right", xshift=-6, y=0, yanchor="bottom", **corner),
        note("as expected", xref="paper", x=0, xanchor="left", xshift=4, yref="y", y=0, yanchor="bottom", font=grey),
    ]


def _names_of_curves(limits: Sequence[FunnelRow], levels: tuple[str, str], colours: Palette) -> list[dict[str, Any]]:
    """The level of each curve at its right end."""
    if not limits:
        return []
    last = limits[-1]
    return [
        note(
            level,
            xref="paper",
            x=1,
            xanchor="left",
            xshift=4,
            yref="y",
            y=getattr(last, key),
            yshift=shift,
            font={"size": SMALL - 1, "color": colours.muted},
        )
        for level, key, shift in (
            (levels[1], "outer_high", 5),
            (levels[0], "inner_high", -5),
            (levels[0], "inner_low", 5),
            (levels[1], "outer_low", -5),
        )
    ]

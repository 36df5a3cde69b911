"""Dot-and-interval chart of one outcome: every support's pooled estimate, its bracket and the within-knee estimate."""

from collections.abc import Sequence
from typing import Any

from dashboard.figures.names import OUTCOMES, SUPPORTS, unit_words
from dashboard.figures.template import axis, layout, note
from dashboard.figures.theme import CHART_TEXT_PX, Palette, bare_interval, interval, number, palette
from dashboard.questions.models.answers_models import EffectRow

ROW_PX = 42
# The within-knee estimate is drawn below the pooled one, in rows.
_BELOW = 0.27


def in_order(rows: Sequence[EffectRow], outcome: str) -> list[EffectRow]:
    """The overall rows of one outcome in the fixed order of supports."""
    found = {row.support: row for row in rows if row.outcome == outcome and row.split is None}
    return [found[support] for support in SUPPORTS if support in found]


def is_clear(row: EffectRow) -> bool:
    """Both estimates say the same: the whole bracket lies on one side of nothing."""
    return row.bracket_low is not None and row.bracket_high is not None and (row.bracket_low > 0 or row.bracket_high < 0)


def leading(rows: Sequence[EffectRow], outcome: str) -> EffectRow | None:
    """The support whose clear change a sentence on one outcome tells: one more shim where that is clear, else the surest."""
    clear = [row for row in in_order(rows, outcome) if is_clear(row)]
    return min(clear, key=lambda row: (row.support != "shim", row.q_value or 0.0), default=None)


def estimates_differ(row: EffectRow) -> bool:
    """The pooled and the within-knee estimate differ by more than their noise, as the row's own words tell."""
    return "differ by more than their noise" in row.words


def without_figure(row: EffectRow) -> str:
    """What stands in the place of a figure that may not be shown; the row's own words tell the reason whole."""
    if "not enough yet" in row.words:
        return f"not enough yet ({row.n_changes:,} {'change' if row.n_changes == 1 else 'changes'})"
    return "no figure: see the words" if row.n_changes else "never changed"


def finding(rows: Sequence[EffectRow], outcome: str) -> str:
    """What the panel shows, for its title."""
    name = OUTCOMES[outcome].name
    shown = [row for row in in_order(rows, outcome) if row.pooled is not None]
    if not shown:
        return f"{name}: no figure yet for any support"
    clear = [row for row in shown if is_clear(row)]
    if not clear:
        return f"{name}: no clear change for any support"
    if len(clear) == len(shown):
        return f"{name}: a clear change for all {len(shown)} supports"
    return f"{name}: a clear change for {len(clear)} of {len(shown)} supports"


def effects_panel(rows: Sequence[EffectRow], outcome: str, theme: str | None) -> dict[str, Any]:
    """The figure of one outcome as a plain dict, estimate and interval printed at the right of each row."""
    colours = palette(theme)
    shown = in_order(rows, outcome)
    low, high = _span(shown)
    return {
        "data": _traces(shown, colours),
        "layout": layout(
            theme,
            height=ROW_PX * max(len(shown), 1) + 46,
            margin=(122, 112, 4, 42),
            xaxis=axis(
                theme,
                range=[low, high],
                nticks=6,
                zeroline=True,
                zerolinecolor=colours.ink,
                zerolinewidth=1,
                title=_direction(outcome),
                # Without any figure there is nothing to measure.
                visible=any(row.pooled is not None for row in shown),
            ),
            yaxis=axis(
                theme,
                range=[len(shown) - 0.4, -0.6],
                tickvals=list(range(len(shown))),
                ticktext=[SUPPORTS[row.support] for row in shown],
                tickfont={"color": colours.ink, "size": CHART_TEXT_PX},
                showgrid=False,
                ticklabelstandoff=8,
            ),
            annotations=[_at_right(place, row) for place, row in enumerate(shown)]
            + [_too_few(place, row, colours) for place, row in enumerate(shown) if row.pooled is None],
        ),
    }


def alternative(rows: Sequence[EffectRow], outcome: str) -> str:
    """The panel in words, for a reader who does not see it."""
    name = OUTCOMES[outcome]
    said = [
        f"{SUPPORTS[row.support]}: {number(row.pooled, row.unit, effect=True)}, "
        f"interval {interval(row.pooled_low, row.pooled_high, row.unit, effect=True)}"
        if row.pooled is not None
        else f"{SUPPORTS[row.support]}: {without_figure(row)}"
        for row in in_order(rows, outcome)
    ]
    return f"Dot-and-interval chart of {name.axis}, minus is {name.less}, plus is {name.more}. " + "; ".join(said) + "."


def _direction(outcome: str) -> str:
    words = OUTCOMES[outcome]
    return f"← {words.less}   {unit_words(outcome)}   {words.more} →"


def _span(rows: Sequence[EffectRow]) -> tuple[float, float]:
    ends = [0.0]
    for row in rows:
        drawn = (row.pooled_low, row.pooled_high, row.within_low, row.within_high, row.bracket_low, row.bracket_high)
        ends += [end for end in drawn if end is not None]
    low, high = min(ends), max(ends)
    room = 0.06 * (high - low) or 1.0
    return low - room, high + room


def _traces(rows: Sequence[EffectRow], colours: Palette) -> list[dict[str, Any]]:
    places = list(enumerate(rows))
    pooled = [(place, row) for place, row in places if row.pooled is not None]
    within = [(place + _BELOW, row) for place, row in places if row.within is not None]
    bracket = [(place, row.bracket_low, row.bracket_high) for place, row in pooled]
    return [
        _segments(bracket, colours.line, 1.5),
        _ends(bracket, colours.line),
        _segments([(place, row.pooled_low, row.pooled_high) for place, row in pooled], colours.accent, 4),
        _segments([(place, row.within_low, row.within_high) for place, row in within], colours.second, 1.5),
        _dots(
            [(place, row.pooled, _hover(row, "pooled", row.pooled_low, row.pooled_high)) for place, row in pooled],
            {"symbol": "circle", "size": 9, "color": colours.accent, "line": {"color": colours.surface, "width": 1}},
        ),
        _dots(
            [(place, row.within, _hover(row, "within", row.within_low, row.within_high)) for place, row in within],
            {"symbol": "diamond", "size": 7, "color": colours.surface, "line": {"color": colours.second, "width": 2}},
        ),
    ]


def _segments(lines: Sequence[tuple[float, float | None, float | None]], colour: str, width: float) -> dict[str, Any]:
    return {
        "type": "scatter",
        "mode": "lines",
        "x": [x for _, low, high in lines for x in (low, high, None)],
        "y": [y for place, _, _ in lines for y in (place, place, None)],
        "line": {"color": colour, "width": width},
        "hoverinfo": "skip",
    }


def _ends(lines: Sequence[tuple[float, float | None, float | None]], colour: str) -> dict[str, Any]:
    return {
        "type": "scatter",
        "mode": "markers",
        "x": [x for _, low, high in lines for x in (low, high)],
        "y": [y for place, _, _ in lines for y in (place, place)],
        "marker": {"symbol": "line-ns-open", "size": 10, "color": colour, "line": {"color": colour, "width": 1.5}},
        "hoverinfo": "skip",
    }


def _dots(dots: Sequence[tuple[float, float | None, str]], marker: dict[str, Any]) -> dict[str, Any]:
    return {
        "type": "scatter",
        "mode": "markers",
        "x": [x for _, x, _ in dots],
        "y": [place for place, _, _ in dots],
        "marker": marker,
        "text": [text for _, _, text in dots],
        "hoverinfo": "text",
    }


def _hover(row: EffectRow, estimate: str, low: float | None, high: float | None) -> str:
    name = {"pooled": "Pooled estimate", "within": "Within-knee estimate"}[estimate]
    return (
        f"<b>{SUPPORTS[row.support]}</b><br>{name}: {number(getattr(row, estimate), row.unit, effect=True)}"
        f"<br>{interval(low, high, row.unit, effect=True)}<br>{row.n_changes} changes, {row.n_riders} riders"
    )


def _at_right(place: int, row: EffectRow) -> dict[str, Any]:
    if row.pooled is None:
        text = ""
    else:
        ends = bare_interval(row.pooled_low, row.pooled_high, row.unit, effect=True)
        text = f"<b>{number(row.pooled, row.unit, effect=True)}</b><br>{ends}"
    return note(
        text,
        xref="paper",
        x=1,
        xanchor="left",
        xshift=12,
        yref="y",
        y=place,
        align="left",
        font={"size": CHART_TEXT_PX - 1},
    )


def _too_few(place: int, row: EffectRow, colours: Palette) -> dict[str, Any]:
    return note(
        without_figure(row),
        xref="paper",
        x=0,
        xanchor="left",
        yref="y",
        y=place,
        bgcolor=colours.surface,
        font={"size": CHART_TEXT_PX - 1, "color": colours.muted},
    )

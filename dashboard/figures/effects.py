"""Interval chart of one outcome: every support's told interval, and beside it the two estimates behind it."""

from collections.abc import Callable, Sequence
from typing import Any

from dashboard.figures.names import OUTCOMES, SUPPORTS, unit_words
from dashboard.figures.template import axis, layout, note
from dashboard.figures.theme import CHART_TEXT_PX, Palette, bare_interval, bare_number, interval, number, palette
from dashboard.figures.told_rows import ToldRow, span_of, told_rows
from dashboard.questions.models.answers_models import EffectRow

ROW_PX = 42
# The pooled estimate is drawn above the told interval and the within-knee one below it, in rows.
_BESIDE = 0.27


def in_order(rows: Sequence[EffectRow], outcome: str) -> list[EffectRow]:
    """The overall rows of one outcome in the fixed order of supports."""
    by_support = {row.support: row for row in rows if row.outcome == outcome and row.split is None}
    return [by_support[support] for support in SUPPORTS if support in by_support]


def leading(rows: Sequence[EffectRow], outcome: str) -> EffectRow | None:
    """The support whose clear change a sentence on one outcome tells: one more shim where that is clear, else the surest."""
    clear = [row for row in in_order(rows, outcome) if row.direction]
    return min(clear, key=lambda row: (row.support != "shim", row.q_value or 0.0), default=None)


def estimates_differ(row: EffectRow) -> bool:
    """The pooled and the within-knee estimate differ by more than their noise, as the row's own words tell."""
    return "differ by more than their noise" in row.words


def estimates_agree(row: EffectRow) -> bool:
    """The two estimates are known to lie near enough to each other to be said to agree, as the row's own words tell."""
    return "both estimates agree" in row.words


def without_figure(row: EffectRow) -> str:
    """What stands in the place of a figure that may not be shown; the row's own words tell the reason whole."""
    if "not enough yet" in row.words:
        return f"not enough yet ({row.n_changes:,} {'change' if row.n_changes == 1 else 'changes'})"
    return "no figure: see the words" if row.n_changes else "never changed"


def finding(rows: Sequence[EffectRow], outcome: str) -> str:
    """What the panel shows, for its title."""
    name = OUTCOMES[outcome].name
    estimated = [row for row in in_order(rows, outcome) if row.pooled is not None]
    if not estimated:
        return f"{name}: no figure yet for any support"
    clear = [row for row in estimated if row.direction]
    if not clear:
        return f"{name}: no clear change for any support"
    if len(clear) == len(estimated):
        return f"{name}: a clear change for all {len(estimated)} supports"
    return f"{name}: a clear change for {len(clear)} of {len(estimated)} supports"


def effects_panel(rows: Sequence[EffectRow], outcome: str, theme: str | None) -> dict[str, Any]:
    """The figure of one outcome as a plain dict, told intervals printed at the right, bold where a change is claimed."""
    colours = palette(theme)
    ordered = in_order(rows, outcome)
    low, high = _span(ordered)
    return {
        "data": _traces(ordered, colours),
        "layout": layout(
            theme,
            height=ROW_PX * max(len(ordered), 1) + 46,
            margin=(122, 112, 4, 42),
            xaxis=axis(
                theme,
                range=[low, high],
                nticks=6,
                zeroline=True,
                zerolinecolor=colours.ink,
                zerolinewidth=1,
                title=direction_axis(outcome),
                # Without any figure there is nothing to measure.
                visible=any(row.pooled is not None for row in ordered),
            ),
            yaxis=axis(
                theme,
                range=[len(ordered) - 0.4, -0.6],
                tickvals=list(range(len(ordered))),
                ticktext=[SUPPORTS[row.support] for row in ordered],
                tickfont={"color": colours.ink, "size": CHART_TEXT_PX},
                showgrid=False,
                ticklabelstandoff=8,
            ),
            annotations=[_at_right(place, row) for place, row in enumerate(ordered)]
            + [_too_few(place, row, colours) for place, row in enumerate(ordered) if row.pooled is None],
        ),
    }


def told_row(row: EffectRow, empty: Callable[[EffectRow], str]) -> ToldRow:
    """The row of a chart of told intervals, a claimed change told by its direction and size, as in: 0.29 to 0.50 nearer.

    `empty` says what stands in the place of a missing figure.
    """
    name = SUPPORTS[row.support]
    if row.told_low is None or row.told_high is None:
        return ToldRow(name, empty(row), None, None, is_claimed=False)
    changes = f"{row.n_changes:,} changes, {row.n_riders:,} riders"
    ends = interval(row.told_low, row.told_high, row.unit, effect=True)
    return ToldRow(
        name,
        f"{_size(row)} {_way(row)}" if row.direction else "unclear",
        row.told_low,
        row.told_high,
        is_claimed=row.direction != 0,
        hover=f"<b>{name}</b><br>{ends}<br>{changes}",
    )


def _way(row: EffectRow) -> str:
    words = OUTCOMES[row.outcome]
    return words.more if row.direction > 0 else words.less


def _size(row: EffectRow) -> str:
    """Both ends of a claimed interval without their sign, the smaller first."""
    ends = sorted(abs(end) for end in (row.told_low, row.told_high) if end is not None)
    return " to ".join(bare_number(end, row.unit, effect=True).lstrip("+") for end in ends)


def told_panel(rows: Sequence[EffectRow], outcome: str, empty: Callable[[EffectRow], str], theme: str | None) -> dict[str, Any]:
    """The told intervals of one outcome as a plain dict, without the two estimates behind them."""
    drawn = [told_row(row, empty) for row in in_order(rows, outcome)]
    return told_rows(drawn, theme, title=direction_axis(outcome), span=span_of(drawn))


def alternative(rows: Sequence[EffectRow], outcome: str) -> str:
    """The panel in words, for a reader who does not see it."""
    name = OUTCOMES[outcome]
    said = [
        f"{SUPPORTS[row.support]}: {interval(row.told_low, row.told_high, row.unit, effect=True)}"
        f"{'' if row.direction else ', no clear change'}"
        if row.pooled is not None
        else f"{SUPPORTS[row.support]}: {without_figure(row)}"
        for row in in_order(rows, outcome)
    ]
    return f"Chart of the told intervals of {name.axis}, minus is {name.less}, plus is {name.more}. " + "; ".join(said) + "."


def direction_axis(outcome: str) -> str:
    """The title of an axis: what less and more of the outcome means, and its unit."""
    words = OUTCOMES[outcome]
    return f"← {words.less}   {unit_words(outcome)}   {words.more} →"


def _span(rows: Sequence[EffectRow]) -> tuple[float, float]:
    ends = [0.0]
    for row in rows:
        drawn = (row.pooled_low, row.pooled_high, row.within_low, row.within_high, row.told_low, row.told_high)
        ends += [end for end in drawn if end is not None]
    low, high = min(ends), max(ends)
    room = 0.06 * (high - low) or 1.0
    return low - room, high + room


def _traces(rows: Sequence[EffectRow], colours: Palette) -> list[dict[str, Any]]:
    estimated = [(place, row) for place, row in enumerate(rows) if row.pooled is not None]
    told_intervals = [(place, row.told_low, row.told_high) for place, row in estimated]
    claimed = [line for line, (_, row) in zip(told_intervals, estimated, strict=True) if row.direction]
    return [
        _segments([line for line in told_intervals if line not in claimed], colours.line, 3),
        _segments(claimed, colours.accent, 5),
        _ends(told_intervals, colours.line),
        _segments([(place - _BESIDE, row.pooled_low, row.pooled_high) for place, row in estimated], colours.accent, 1.5),
        _segments([(place + _BESIDE, row.within_low, row.within_high) for place, row in estimated], colours.second, 1.5),
        _dots(
            [(place - _BESIDE, row.pooled, _hover(row, "pooled", row.pooled_low, row.pooled_high)) for place, row in estimated],
            {"symbol": "circle", "size": 7, "color": colours.accent, "line": {"color": colours.surface, "width": 1}},
        ),
        _dots(
            [(place + _BESIDE, row.within, _hover(row, "within", row.within_low, row.within_high)) for place, row in estimated],
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
        ends = bare_interval(row.told_low, row.told_high, row.unit, effect=True)
        text = f"<b>{ends}</b>" if row.direction else ends
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

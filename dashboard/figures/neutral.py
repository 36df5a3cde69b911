"""Change in the distance from neutral by arrival direction: as measured, what noise alone would do, and the rest."""

from collections.abc import Sequence
from typing import Any, Final

from dashboard.figures.template import axis, layout, note
from dashboard.figures.theme import CHART_TEXT_PX, Palette, bare_interval, interval, number, palette
from dashboard.questions.effects.answers_effects import NeutralRow

ROW_PX: Final = 62
# As measured and by noise alone are drawn above the rest, in rows.
_ABOVE: Final = -0.26


def arrived(row: NeutralRow) -> str:
    """Says in which direction the knees of a row arrived, as in: Came inward."""
    return f"Came {row.arrival_direction}"


def finding(rows: Sequence[NeutralRow]) -> str:
    """Which knees came nearer by more than noise, for the title."""
    estimated = [row for row in rows if row.net_deg is not None]
    if not estimated:
        return "Not enough knees yet to say"
    nearer = [row.arrival_direction for row in estimated if row.direction < 0]
    further = [row.arrival_direction for row in estimated if row.direction > 0]
    parts = [
        f"knees that came {' or '.join(names)} left {word}"
        for names, word in ((nearer, "nearer to neutral"), (further, "further from it"))
        if names
    ]
    knee_words = "; ".join(parts) or "no clear change for any knees"
    return f"Beyond the noise, {knee_words}"


def alternative(rows: Sequence[NeutralRow]) -> str:
    """Tells the chart in words, for a reader who does not see it."""
    return "Change in the distance from neutral by arrival direction. " + " ".join(row.words for row in rows)


def neutral_chart(rows: Sequence[NeutralRow], theme: str | None) -> dict[str, Any]:
    """The figure as a plain dict: one row a direction."""
    colours = palette(theme)
    estimated = [(place, row) for place, row in enumerate(rows) if row.net_deg is not None]
    ends = [0.0]
    for _, row in estimated:
        drawn = (row.change_deg, row.expected_deg, row.told_low, row.told_high)
        ends += [value for value in drawn if value is not None]
    room = 0.08 * (max(ends) - min(ends)) or 1.0
    return {
        "data": _traces(estimated, colours),
        "layout": layout(
            theme,
            height=ROW_PX * max(len(rows), 1) + 46,
            margin=(134, 104, 4, 42),
            xaxis=axis(
                theme,
                range=[min(ends) - room, max(ends) + room],
                nticks=4,
                tickangle=0,
                zeroline=True,
                zerolinecolor=colours.ink,
                zerolinewidth=1,
                title="← nearer to neutral   degrees   further →",
            ),
            yaxis=axis(
                theme,
                range=[len(rows) - 0.4, -0.6],
                tickvals=list(range(len(rows))),
                ticktext=[f"{arrived(row)}<br>{row.n_knees:,} knees" for row in rows],
                tickfont={"color": colours.ink, "size": CHART_TEXT_PX},
                showgrid=False,
                ticklabelstandoff=8,
            ),
            annotations=[_at_right(place, row) for place, row in enumerate(rows)],
        ),
    }


def _traces(estimated: Sequence[tuple[int, NeutralRow]], colours: Palette) -> list[dict[str, Any]]:
    claimed = [(place, row) for place, row in estimated if row.direction]
    return [
        _told_intervals([one for one in estimated if one not in claimed], colours.line, 3),
        _told_intervals(claimed, colours.accent, 5),
        _marks([(place, row.net_deg, _hover(row)) for place, row in estimated], "circle", 9, colours.accent),
        _marks([(place + _ABOVE, row.change_deg, _hover(row)) for place, row in estimated], "circle-open", 9, colours.line),
        _marks(
            [(place + _ABOVE, row.expected_deg, _hover(row)) for place, row in estimated], "line-ns-open", 12, colours.second
        ),
    ]


def _told_intervals(estimated: Sequence[tuple[int, NeutralRow]], colour: str, width: float) -> dict[str, Any]:
    return {
        "type": "scatter",
        "mode": "lines",
        "x": [x for _, row in estimated for x in (row.told_low, row.told_high, None)],
        "y": [y for place, _ in estimated for y in (place, place, None)],
        "line": {"color": colour, "width": width},
        "hoverinfo": "skip",
    }


def _marks(marks: Sequence[tuple[float, float | None, str]], symbol: str, size: int, colour: str) -> dict[str, Any]:
    return {
        "type": "scatter",
        "mode": "markers",
        "x": [x for _, x, _ in marks],
        "y": [place for place, _, _ in marks],
        "marker": {"symbol": symbol, "size": size, "color": colour, "line": {"color": colour, "width": 2}},
        "text": [text for _, _, text in marks],
        "hoverinfo": "text",
    }


def _hover(row: NeutralRow) -> str:
    return (
        f"<b>{arrived(row)}</b><br>as measured {number(row.change_deg, 'deg', effect=True)}"
        f"<br>by noise alone {number(row.expected_deg, 'deg', effect=True)}"
        f"<br>beyond the noise {number(row.net_deg, 'deg', effect=True)} "
        f"({interval(row.told_low, row.told_high, 'deg', effect=True)})<br>{row.n_knees:,} knees"
    )


def _at_right(place: int, row: NeutralRow) -> dict[str, Any]:
    ends = bare_interval(row.told_low, row.told_high, "deg", effect=True)
    net = number(row.net_deg, "deg", effect=True)
    text = "not enough yet" if row.net_deg is None else f"{f'<b>{net}</b>' if row.direction else net}<br>{ends}"
    return note(
        text, xref="paper", x=1, xanchor="left", xshift=12, yref="y", y=place, align="left", font={"size": CHART_TEXT_PX - 1}
    )

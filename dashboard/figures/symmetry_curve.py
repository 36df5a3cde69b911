"""The share of riders with a side difference had the limit been another one, at arrival and departure."""

from collections.abc import Sequence
from typing import Any

from dashboard.figures.dot_rows import no_figure
from dashboard.figures.names import unit_words
from dashboard.figures.symmetry import short
from dashboard.figures.template import axis, layout, note
from dashboard.figures.theme import CHART_TEXT_PX, Palette, interval, number, palette
from dashboard.questions.symmetry.answers_asymmetry import CurveRow

MOMENTS = ("arrival", "departure")


def of_moment(rows: Sequence[CurveRow], quantity: str, moment: str) -> list[CurveRow]:
    """Picks the rows of one quantity and moment whose share is known, in the order of their limits."""
    return [row for row in rows if (row.quantity, row.moment) == (quantity, moment) and row.share is not None]


def curve_figure(rows: Sequence[CurveRow], quantity: str, theme: str | None) -> dict[str, Any]:
    """Both moments as a plain dict: arrival dashed, departure solid, each with its interval as a band."""
    colours = palette(theme)
    lines = {moment: of_moment(rows, quantity, moment) for moment in MOMENTS}
    if not any(lines.values()):
        return no_figure(theme, "not enough riders yet")
    limits = [row.limit for row in rows if row.quantity == quantity]
    set_limit = next((row.limit for row in rows if row.quantity == quantity and row.is_set_limit), None)
    ticks = [0, 0.25, 0.5, 0.75, 1]
    return {
        "data": [
            trace
            for moment in MOMENTS
            for trace in (
                _band(lines[moment], colours),
                _line(lines[moment], moment, colours),
                _at_limit(lines[moment], moment, colours),
            )
        ],
        "layout": layout(
            theme,
            height=300,
            margin=(62, 10, 22, 46),
            xaxis=axis(theme, range=[0, max(limits)], title=f"limit in {unit_words(quantity)}", nticks=8, showgrid=False),
            yaxis=axis(
                theme,
                title="share of riders",
                range=[0, 1.01],
                tickvals=ticks,
                ticktext=[number(tick, "share") for tick in ticks],
                ticklabelstandoff=4,
            ),
            shapes=[] if set_limit is None else [_limit(set_limit, colours)],
            annotations=_labels(lines, set_limit, colours),
        ),
    }


def finding(rows: Sequence[CurveRow], quantity: str) -> str:
    """How much hangs on the limit: the share at the set limit, and at half and twice of it where they were computed."""
    arrival = of_moment(rows, quantity, "arrival")
    at = {row.limit: row for row in arrival}
    chosen = next((row for row in arrival if row.is_set_limit), None)
    if chosen is None:
        return "How much hangs on the limit: not enough yet"
    others = [at[limit] for limit in (chosen.limit / 2, chosen.limit * 2) if limit in at]
    other_shares = " and ".join(f"{number(row.share, 'share')} at {short(row.limit, row.unit)}" for row in others)
    against = f", against {other_shares}" if other_shares else ""
    return f"At arrival, {number(chosen.share, 'share')} at the limit of {short(chosen.limit, chosen.unit)}{against}"


def alternative(rows: Sequence[CurveRow], quantity: str) -> str:
    """Tells the curves in words, for a reader who does not see them."""
    moment_words = []
    for moment in MOMENTS:
        line = of_moment(rows, quantity, moment)
        moment_words += [
            f"at {moment} from {number(line[0].share, 'share')} at {short(line[0].limit, line[0].unit)} down to "
            f"{number(line[-1].share, 'share')} at {short(line[-1].limit, line[-1].unit)}"
            for _ in line[:1]
        ]
    return f"Share of riders with a side difference in {quantity} by limit: {'; '.join(moment_words) or 'not enough yet'}."


def _band(rows: Sequence[CurveRow], colours: Palette) -> dict[str, Any]:
    return {
        "type": "scatter",
        "mode": "lines",
        "x": [row.limit for row in rows] + [row.limit for row in reversed(rows)],
        "y": [row.high for row in rows] + [row.low for row in reversed(rows)],
        "fill": "toself",
        "fillcolor": colours.soft,
        "line": {"width": 0},
        "hoverinfo": "skip",
    }


def _line(rows: Sequence[CurveRow], moment: str, colours: Palette) -> dict[str, Any]:
    is_arrival = moment == "arrival"
    return {
        "type": "scatter",
        "mode": "lines",
        "x": [row.limit for row in rows],
        "y": [row.share for row in rows],
        "line": {
            "color": colours.muted if is_arrival else colours.accent,
            "width": 2 if is_arrival else 2.5,
            "dash": "dash" if is_arrival else "solid",
        },
        "text": [_hover(row) for row in rows],
        "hoverinfo": "text",
    }


def _at_limit(rows: Sequence[CurveRow], moment: str, colours: Palette) -> dict[str, Any]:
    chosen = [row for row in rows if row.is_set_limit]
    hollow = {"symbol": "diamond", "size": 9, "color": colours.surface, "line": {"color": colours.muted, "width": 2}}
    full = {"symbol": "circle", "size": 10, "color": colours.accent, "line": {"color": colours.surface, "width": 1}}
    return {
        "type": "scatter",
        "mode": "markers",
        "x": [row.limit for row in chosen],
        "y": [row.share for row in chosen],
        "marker": hollow if moment == "arrival" else full,
        "text": [_hover(row) for row in chosen],
        "hoverinfo": "text",
    }


def _hover(row: CurveRow) -> str:
    return (
        f"<b>{short(row.limit, row.unit)}, at {row.moment}</b><br>{number(row.share, 'share')}"
        f"<br>{interval(row.low, row.high, 'share')}<br>n = {row.n_riders:,}"
    )


def _limit(limit: float, colours: Palette) -> dict[str, Any]:
    line = {"color": colours.line, "width": 1.2, "dash": "dot"}
    return {"type": "line", "x0": limit, "x1": limit, "yref": "paper", "y0": 0, "y1": 1, "layer": "below", "line": line}


def _labels(lines: dict[str, list[CurveRow]], limit: float | None, colours: Palette) -> list[dict[str, Any]]:
    """Each curve's name beside its mark at the set limit, arrival above and departure below, and the limit's own name."""
    if limit is None:
        return []
    labels = [
        note(
            "the limit set",
            x=limit,
            yref="paper",
            y=1,
            yanchor="bottom",
            font={"size": CHART_TEXT_PX - 1, "color": colours.muted},
        )
    ]
    for moment, xanchor, yanchor, shift in (("arrival", "left", "bottom", 6), ("departure", "right", "top", -6)):
        for row in lines[moment]:
            if row.is_set_limit:
                words = f"{moment}{' ' if moment == 'arrival' else '<br>'}{number(row.share, 'share')}"
                at = {
                    "x": row.limit,
                    "y": row.share,
                    "xanchor": xanchor,
                    "yanchor": yanchor,
                    "xshift": shift * 1.3,
                    "yshift": shift / 2,
                }
                colour = colours.muted if moment == "arrival" else colours.accent
                labels.append(note(f"<b>{words}</b>", font={"size": CHART_TEXT_PX, "color": colour}, **at))
    return labels

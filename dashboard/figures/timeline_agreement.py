"""The share of fits in agreement with the exam, month by month, with the share of the whole selection behind it."""

from collections.abc import Sequence
from datetime import date
from typing import Any

from dashboard.figures.template import axis, layout, words_only
from dashboard.figures.theme import interval, number, palette
from dashboard.questions.coaching.answers_agreement import AgreementRow


def agreement_figure(months: Sequence[AgreementRow], whole: AgreementRow, theme: str | None) -> dict[str, Any]:
    """The months as a plain dict; a month with too few fits is left out."""
    colours = palette(theme)
    estimated = [row for row in months if row.share is not None]
    if not estimated:
        return words_only(theme, "not enough yet in any month")
    ticks = [0.2 * step for step in range(6)]
    return {
        "data": [
            {
                "type": "scatter",
                "mode": "markers",
                "x": [row.level for row in estimated],
                "y": [row.share for row in estimated],
                "error_y": {
                    "type": "data",
                    "symmetric": False,
                    "array": [(row.high or 0) - (row.share or 0) for row in estimated],
                    "arrayminus": [(row.share or 0) - (row.low or 0) for row in estimated],
                    "color": colours.accent,
                    "thickness": 1.5,
                    "width": 0,
                },
                "marker": {"color": colours.accent, "size": 7},
                "text": [_hover(row) for row in estimated],
                "hoverinfo": "text",
            }
        ],
        "layout": layout(
            theme,
            height=240,
            margin=(64, 10, 8, 40),
            xaxis=axis(theme, type="date", nticks=8, tickformat="%b\n%Y", showgrid=False),
            yaxis=axis(
                theme,
                title="share of fits in agreement",
                range=[-0.02, 1.0],
                tickvals=ticks,
                ticktext=[number(tick, "share") for tick in ticks],
                ticklabelstandoff=4,
            ),
            shapes=[_line(whole.share, colours.line)] if whole.share is not None else [],
        ),
    }


def finding(months: Sequence[AgreementRow], whole: AgreementRow) -> str:
    """The share of the whole selection and of the latest month, for the title."""
    estimated = [row for row in months if row.share is not None]
    if whole.share is None or not estimated:
        return "In agreement with the exam, by month: not enough yet"
    last = estimated[-1]
    return (
        f"In agreement with the exam: {number(whole.share, 'share')} over all, {number(last.share, 'share')} "
        f"({interval(last.low, last.high, 'share')}) in {_month(last)}"
    )


def alternative(months: Sequence[AgreementRow]) -> str:
    """Tells the months in words, for a reader who does not see the chart."""
    month_words = "; ".join(
        f"{_month(row)} {number(row.share, 'share')} of {row.n_judged} fits" for row in months if row.share is not None
    )
    return f"Share of fits in agreement with the exam, month by month. {month_words or 'Not enough yet in any month'}."


def _month(row: AgreementRow) -> str:
    return f"{date.fromisoformat(row.level or ''):%B %Y}"


def _hover(row: AgreementRow) -> str:
    ends = interval(row.low, row.high, "share")
    return f"<b>{_month(row)}</b><br>{number(row.share, 'share')}<br>{ends}<br>{row.n_judged} fits that can be judged"


def _line(share: float, colour: str) -> dict[str, Any]:
    across = {"xref": "paper", "x0": 0, "x1": 1, "yref": "y", "y0": share, "y1": share}
    return {"type": "line", **across, "layer": "below", "line": {"color": colour, "width": 1.5, "dash": "dot"}}

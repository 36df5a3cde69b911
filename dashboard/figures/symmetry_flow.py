"""What became of a side difference in the same riders: resolved, persisting, new, none."""

from typing import Any, Final

from dashboard.figures.template import axis, layout
from dashboard.figures.theme import CHART_TEXT_PX, number, palette
from dashboard.questions.selection.scope import counted
from dashboard.questions.symmetry.answers_asymmetry import ChangeRow

# What each outcome means, in the order in which it is drawn; the two that differ between both ends are drawn full.
FATES: Final = {
    "resolved": ("Resolved", "at arrival only"),
    "new": ("New", "at departure only"),
    "persisting": ("Persisting", "at both ends"),
    "none": ("None", "at neither end"),
}


def flow_figure(row: ChangeRow, theme: str | None) -> dict[str, Any]:
    """Makes the figure as a plain dict: one bar of riders for each of the four fates."""
    colours = palette(theme)
    n = [getattr(row, f"n_{fate}") for fate in FATES]
    differs = [fate in ("resolved", "new") for fate in FATES]
    return {
        "data": [
            {
                "type": "bar",
                "orientation": "h",
                "x": n,
                "y": list(range(len(FATES))),
                "width": 0.5,
                "marker": {
                    "color": [colours.accent if full else colours.soft for full in differs],
                    "line": {"color": [colours.accent if full else colours.line for full in differs], "width": 1.5},
                },
                "text": [f"{count:,}" for count in n],
                "textposition": "outside",
                "cliponaxis": False,
                "textfont": {"size": CHART_TEXT_PX, "color": colours.ink},
                "hoverinfo": "skip",
            }
        ],
        "layout": layout(
            theme,
            height=44 * len(FATES) + 12,
            margin=(118, 44, 4, 8),
            xaxis=axis(theme, range=[0, max(*n, 1)], showticklabels=False, showgrid=False),
            yaxis=axis(
                theme,
                range=[len(FATES) - 0.5, -0.5],
                tickvals=list(range(len(FATES))),
                ticktext=[f"<b>{name}</b><br>{words}" for name, words in FATES.values()],
                tickfont={"color": colours.ink, "size": CHART_TEXT_PX - 1},
                showgrid=False,
                ticklabelstandoff=8,
            ),
        ),
    }


def finding(row: ChangeRow) -> str:
    """What the bars show, for their title."""
    if not row.n_riders:
        return "No rider was recorded at both ends yet"
    return f"{row.n_resolved:,} resolved, {row.n_new:,} new, of {counted(row.n_riders, 'rider')} recorded at both ends"


def alternative(row: ChangeRow) -> str:
    """Tells the bars in words, for a reader who does not see them."""
    fate_words = "; ".join(
        f"{name} ({words}): {number(getattr(row, f'n_{fate}'), 'count')}" for fate, (name, words) in FATES.items()
    )
    return f"Bars of {counted(row.n_riders, 'rider')} recorded at both ends by what became of a {row.finding}. {fate_words}."

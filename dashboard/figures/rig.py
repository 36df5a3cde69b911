"""Tilt at arrival of one studio, month by month, signed, with what was found of its rig marked at its day."""

from collections.abc import Sequence
from typing import Any, Final

from dashboard.figures.template import axis, layout, note, words_only
from dashboard.figures.theme import CHART_TEXT_PX, Palette, day, interval, number, palette
from dashboard.questions.data.answers_rig import RigMonthRow
from shared.rig.findings import RigFinding, in_short

KNEES: Final = {"both": "mean of both knees", "right_less_left": "right knee less left"}
SIGNS: Final = {"both": "●", "right_less_left": "□"}
# Days of the month at which the dots stand, so that none lies upon another.
_BESIDE: Final = {"both": 11, "right_less_left": 20}
_SYMBOLS: Final = {"both": "circle", "right_less_left": "square-open"}
LETTERS: Final = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"


def rig_figure(months: Sequence[RigMonthRow], findings: Sequence[RigFinding], theme: str | None) -> dict[str, Any]:
    """The months of one studio as a plain dict; each of its own `findings` that begins on a day has a line and a letter."""
    colours = palette(theme)
    estimated = [row for row in months if row.estimate is not None]
    if not estimated:
        return words_only(theme, "not enough yet in any month")
    inks = {"both": colours.accent, "right_less_left": colours.second}
    return {
        "data": [_dots([row for row in estimated if row.knees == knees], inks[knees]) for knees in KNEES],
        "layout": layout(
            theme,
            height=280,
            margin=(64, 10, 22, 40),
            xaxis=axis(theme, type="date", nticks=6, tickangle=0, tickformat="%b\n%Y", showgrid=False),
            yaxis=axis(theme, title="tilt at arrival in degrees, + = outward", ticksuffix="°", ticklabelstandoff=4),
            shapes=[_level(colours), *(_mark(finding, colours) for _, finding in dated(findings))],
            annotations=[_letter(letter, finding) for letter, finding in dated(findings)],
        ),
    }


def dated(findings: Sequence[RigFinding]) -> list[tuple[str, RigFinding]]:
    """The findings that begin on a day, each with its letter."""
    begun = sorted((finding for finding in findings if finding.begins), key=lambda finding: str(finding.since))
    return list(zip(LETTERS, begun, strict=False))


def alternative(studio: str, months: Sequence[RigMonthRow], findings: Sequence[RigFinding]) -> str:
    """Tells the chart in words, for a reader who does not see it."""
    estimated = [row for row in months if row.estimate is not None and row.knees == "both"]
    if not estimated:
        return f"Tilt at arrival at {studio}: not enough yet in any month."
    first, last = estimated[0], estimated[-1]
    finding_words = " ".join(finding.words for finding in findings) or "Nothing was found of the rig."
    ends = [f"{number(row.estimate, 'deg')} in {row.month:%B %Y}" for row in (first, last)]
    return f"Mean tilt at arrival at {studio} in {len(estimated)} months, from {ends[0]} to {ends[1]}. {finding_words}"


def _dots(rows: Sequence[RigMonthRow], colour: str) -> dict[str, Any]:
    return {
        "type": "scatter",
        "mode": "markers",
        "x": [row.month.replace(day=_BESIDE[row.knees]).isoformat() for row in rows],
        "y": [row.estimate for row in rows],
        "error_y": {
            "type": "data",
            "symmetric": False,
            "array": [(row.high or 0) - (row.estimate or 0) for row in rows],
            "arrayminus": [(row.estimate or 0) - (row.low or 0) for row in rows],
            "color": colour,
            "thickness": 1.5,
            "width": 0,
        },
        "marker": {"symbol": _SYMBOLS[rows[0].knees] if rows else "circle", "color": colour, "size": 7},
        "cliponaxis": False,
        "text": [_hover(row) for row in rows],
        "hoverinfo": "text",
    }


def _hover(row: RigMonthRow) -> str:
    parts = (
        f"<b>{row.month:%B %Y}</b>",
        f"{KNEES[row.knees]}: {number(row.estimate, 'deg')}",
        interval(row.low, row.high, "deg"),
    )
    return "<br>".join((*parts, f"{row.n_fits:,} fits"))


def _level(colours: Palette) -> dict[str, Any]:
    across = {"xref": "paper", "x0": 0, "x1": 1, "yref": "y", "y0": 0, "y1": 0}
    return {"type": "line", **across, "layer": "below", "line": {"color": colours.line, "width": 1}}


def _mark(finding: RigFinding, colours: Palette) -> dict[str, Any]:
    at = str(finding.since)
    return {
        "type": "line",
        **{"xref": "x", "x0": at, "x1": at, "yref": "paper", "y0": 0, "y1": 1},
        "line": {"color": colours.ink, "width": 1.25, "dash": "dot"},
    }


def _letter(letter: str, finding: RigFinding) -> dict[str, Any]:
    font = {"size": CHART_TEXT_PX}
    return note(letter, x=str(finding.since), xref="x", xanchor="center", y=1, yref="paper", yanchor="bottom", font=font)


def title(studio: str, months: Sequence[RigMonthRow], findings: Sequence[RigFinding]) -> str:
    """Says in short what was found of a studio's rig, as the chart's title."""
    if not any(row.estimate is not None for row in months):
        return f"{studio}: not enough yet"
    if not findings:
        return f"{studio}: no change seen"
    first = findings[0]
    when = f" since {day(first.since)}" if first.begins else ""
    more = f", and {len(findings) - 1} more" if len(findings) > 1 else ""
    return f"{studio}: {in_short(first)}{when}{more}"

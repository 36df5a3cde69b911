"""What lasted of a fit, what was kept of the setup, and what riders said at the follow-up."""

from collections.abc import Sequence
from typing import Any, Final

from dashboard.figures.dot_rows import LABEL_PX, DotRow, Mark, dot_rows
from dashboard.figures.template import axis, layout, note
from dashboard.figures.theme import Palette, bare_number, interval, number, palette
from dashboard.questions.returns.answers_returns import HeldRow, LastingRow, ReturnFigure, SaidRow

BECAME: Final = {
    "held": "Held",
    "not_held": "Did not hold",
    "not_measured": "Seen again, not measured",
    "not_seen": "Not seen again",
}
HELD: Final = {"tilt": "Tilt held", "sway": "Sway held"}
KEPT: Final = {
    "setup_kept_all": "Whole setup still in use",
    "setup_kept_some": "A part of it",
    "setup_kept_none": "Nothing of it",
}
SAID: Final = {"satisfaction": ("Satisfaction", "10 is best"), "pain": ("Pain", "0 is best")}
_SAID_ROW_PX: Final = 52


def held_figure(rows: Sequence[HeldRow], theme: str | None) -> dict[str, Any]:
    """What became of the fits, a share each, with the bounds of those that held behind the first, as a plain dict."""
    return dot_rows([_became(row) for row in rows], theme, of="fits", step=0.5)


def held_finding(rows: Sequence[HeldRow]) -> str:
    """What the picture shows, for its title."""
    by_end = {row.became: row for row in rows}
    held = by_end["held"]
    if held.share is None:
        seen = by_end["not_measured"]
        if seen.share is None:
            return "What became of the fits: not enough yet"
        return f"{seen.n:,} of {held.n_fits:,} fits were seen again; whether they held is not told"
    return f"{held.n:,} {'fit is' if held.n == 1 else 'fits are'} known to have held"


def held_alternative(rows: Sequence[HeldRow]) -> str:
    return "Dot-and-interval chart of what became of the fits. " + " ".join(row.words for row in rows)


def lasting_figure(rows: Sequence[LastingRow], theme: str | None) -> dict[str, Any]:
    """The bounds of the share of knees that held, and in them the share if those not seen are as those alike, as a dict."""
    return dot_rows([_lasting(row) for row in rows], theme, of="knees")


def lasting_finding(rows: Sequence[LastingRow]) -> str:
    """What the picture shows, for its title."""
    sentences = [
        f"{row.outcome} held in {interval(row.worst, row.best, 'share')} of all knees, in {number(row.held, 'share')} of those "
        "found again"
        for row in rows
        if row.held is not None
    ]
    text = ". ".join(words[:1].upper() + words[1:] for words in sentences)
    return text or "What lasted: not enough yet"


def lasting_alternative(rows: Sequence[LastingRow]) -> str:
    return "Dot-and-interval chart of the share of knees that held. " + " ".join(row.words for row in rows)


def kept_figure(figures: Sequence[ReturnFigure], theme: str | None) -> dict[str, Any]:
    """All, some, none of the setup still in use, as a plain dict."""
    return dot_rows([_kept(row) for row in kept_of(figures)], theme, of="follow-ups")


def kept_of(figures: Sequence[ReturnFigure]) -> list[ReturnFigure]:
    """The three overall figures in their order."""
    by_figure = {row.figure: row for row in figures if row.level is None}
    return [by_figure[figure] for figure in KEPT if figure in by_figure]


def kept_finding(figures: Sequence[ReturnFigure]) -> str:
    rows = kept_of(figures)
    if not rows or rows[0].estimate is None:
        return "Setup kept: not enough yet"
    ends = interval(rows[0].low, rows[0].high, "share")
    return f"At {number(rows[0].estimate, 'share')} of follow-ups the whole setup was still in use ({ends})"


def kept_alternative(figures: Sequence[ReturnFigure]) -> str:
    return "Dot-and-interval chart of the share of follow-ups by what was kept. " + " ".join(
        row.words for row in kept_of(figures)
    )


def said_figure(rows: Sequence[SaidRow], theme: str | None) -> dict[str, Any]:
    """Medians with the middle half, and the bounds of the mean of all fits, on the scale of 0 to 10, as a plain dict."""
    colours = palette(theme)
    with_median = [(place, row) for place, row in enumerate(rows) if row.median_points is not None]
    return {
        "data": [
            {
                "type": "scatter",
                "mode": "lines",
                "x": [x for _, row in with_median for x in (row.quartile_low_points, row.quartile_high_points, None)],
                "y": [y for place, _ in with_median for y in (place + 0.7, place + 0.7, None)],
                "line": {"color": colours.line, "width": 6},
                "hoverinfo": "skip",
            },
            {
                "type": "scatter",
                "mode": "lines",
                "x": [x for _, row in with_median for x in (row.worst_points, row.best_points, None)],
                "y": [y for place, _ in with_median for y in (place + 0.7, place + 0.7, None)],
                "line": {"color": colours.ink, "width": 1},
                "hoverinfo": "skip",
            },
            {
                "type": "scatter",
                "mode": "markers",
                "x": [row.median_points for _, row in with_median],
                "y": [place + 0.7 for place, _ in with_median],
                "marker": {
                    "symbol": "line-ns-open",
                    "size": 18,
                    "color": colours.ink,
                    "line": {"color": colours.ink, "width": 3},
                },
                "text": [row.words for _, row in with_median],
                "hoverinfo": "text",
            },
        ],
        "layout": layout(
            theme,
            height=_SAID_ROW_PX * max(len(rows), 1) + 52,
            margin=(6, 6, 6, 46),
            xaxis=axis(theme, range=[-0.2, 10.2], tickvals=[0, 2, 4, 6, 8, 10], title="points", ticklabelstandoff=4),
            yaxis=axis(theme, range=[max(len(rows), 1), 0], showticklabels=False, showgrid=False),
            annotations=[words for place, row in enumerate(rows) for words in _topic_notes(place, row, colours)],
        ),
    }


def said_finding(rows: Sequence[SaidRow]) -> str:
    sentences = [
        f"{row.topic.capitalize()}: middle answer {row.median_points:g} in {_told_of(row)}; mean of all {_ends_of(row)}"
        for row in rows
        if row.median_points is not None
    ]
    return ". ".join(sentences) or "What riders said: not enough yet"


def _told_of(row: SaidRow) -> str:
    return f"{row.n:,} of {_counted(row.n_fits, 'fit')}"


def _ends_of(row: SaidRow) -> str:
    """The bounds of the mean of all fits, as in: 0.7 to 6.7."""
    low, high = sorted((row.worst_points or 0.0, row.best_points or 0.0))
    return f"{bare_number(low, 'points')} to {bare_number(high, 'points')}"


def said_alternative(rows: Sequence[SaidRow]) -> str:
    return " ".join(row.words for row in rows)


def _topic_notes(place: int, row: SaidRow, colours: Palette) -> list[dict[str, Any]]:
    name, best = SAID[row.topic]
    at = {"xref": "paper", "yref": "y", "y": place + 0.3, "font": {"size": LABEL_PX}}
    words = [
        note(f"<b>{name}</b>, {best}", x=0, xanchor="left", **at),
        note(_told_of(row), x=1, xanchor="right", **at),
    ]
    if row.median_points is None:
        muted = {"size": LABEL_PX, "color": colours.muted}
        words.append(note("not enough yet", x=0, xanchor="left", xref="paper", yref="y", y=place + 0.7, font=muted))
    return words


def _lasting(row: LastingRow) -> DotRow:
    counted = f"{row.n_seen:,} of {row.n_knees:,} seen"
    if row.held is None or row.worst is None or row.best is None:
        return DotRow(HELD[row.outcome], counted, "", (), "not enough yet" if "not enough yet" in row.words else "no figure")
    words, ends = row.words.replace(". ", ".<br>"), (row.worst, row.best)
    if row.alike is None or row.alike_low is None or row.alike_high is None:
        # Of those found again alone: hollow, and without an interval that would be read as one of all.
        mark = Mark(row.held, row.held, row.held, words, is_quiet=True, ends=ends)
    else:
        mark = Mark(row.alike, row.alike_low, row.alike_high, words, ends=ends)
    return DotRow(HELD[row.outcome], counted, f"<b>{interval(*ends, 'share')}</b>", (mark,))


def _became(row: HeldRow) -> DotRow:
    if row.share is None or row.low is None or row.high is None:
        return DotRow(BECAME[row.became], "", "", (), "not enough yet")
    printed = f"<b>{number(row.share, 'share')}</b> ({interval(row.low, row.high, 'share')})"
    ends = None if row.bounds_low is None or row.bounds_high is None else (row.bounds_low, row.bounds_high)
    return DotRow(BECAME[row.became], "", printed, (Mark(row.share, row.low, row.high, row.words, ends=ends),))


def _kept(row: ReturnFigure) -> DotRow:
    if row.estimate is None or row.low is None or row.high is None:
        return DotRow(KEPT[row.figure], "", "", (), f"not enough yet ({_counted(row.n, 'follow-up')})")
    printed = f"<b>{number(row.estimate, 'share')}</b> ({interval(row.low, row.high, 'share')})"
    return DotRow(KEPT[row.figure], "", printed, (Mark(row.estimate, row.low, row.high, row.words),))


def _counted(n: int, noun: str) -> str:
    return f"{n:,} {noun if n == 1 else noun + 's'}"

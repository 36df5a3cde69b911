"""How common a side difference is at arrival and at departure: one row a level, two dots with their Wilson intervals."""

from collections.abc import Sequence
from typing import Any

from dashboard.figures.dot_rows import DotRow, Mark, dot_rows
from dashboard.figures.names import plain
from dashboard.figures.theme import bare_number, interval, number, unit_sign
from dashboard.questions.symmetry.answers_asymmetry import PrevalenceRow
from shared.statistics.wording import counted

ALL = "All riders"


def level_name(level: str | None) -> str:
    """A level as the start of a line; the whole where there is none."""
    words = plain(level)
    return words[:1].upper() + words[1:] if level else ALL


def by_level(rows: Sequence[PrevalenceRow], quantity: str) -> dict[str | None, dict[str, PrevalenceRow]]:
    """The rows of one quantity: level, then moment, in the order of the answer."""
    rows_by_level: dict[str | None, dict[str, PrevalenceRow]] = {}
    for row in rows:
        if row.quantity == quantity:
            rows_by_level.setdefault(row.level, {})[row.moment] = row
    return rows_by_level


def prevalence_figure(rows: Sequence[PrevalenceRow], quantity: str, theme: str | None) -> dict[str, Any]:
    """The figure of one quantity as a plain dict."""
    return dot_rows(
        [_dot_row(level, moments) for level, moments in by_level(rows, quantity).items()], theme, of="riders", marks=2
    )


def finding(rows: Sequence[PrevalenceRow], quantity: str) -> str:
    """What the picture shows, for its title."""
    whole = by_level(rows, quantity).get(None, {})
    arrival, departure = whole.get("arrival"), whole.get("departure")
    if arrival is None or departure is None or arrival.share is None or departure.share is None:
        return f"Side difference in {quantity}: not enough yet"
    return (
        f"Side difference in {quantity} of {limit_words(arrival)}: {number(arrival.share, 'share')} of riders at arrival, "
        f"{number(departure.share, 'share')} at departure"
    )


def limit_words(row: PrevalenceRow) -> str:
    """The limit as the question counts it: tilt from the limit on, offset beyond it."""
    size = short(row.limit, row.unit)
    return f"{size} or more" if row.quantity == "tilt" else f"more than {size}"


def short(value: float, unit: str) -> str:
    """A limit with its unit, without decimals that say nothing: 2°, 1.5°."""
    return f"{value:g}{unit_sign(unit)}"


def alternative(rows: Sequence[PrevalenceRow], quantity: str) -> str:
    """The picture in words, for a reader who does not see it."""
    level_words = [
        f"{level_name(level)}: " + ", ".join(f"{_share_words(row)} at {moment}" for moment, row in moments.items())
        for level, moments in by_level(rows, quantity).items()
    ]
    return f"Dot-and-interval chart of the share of riders with a side difference in {quantity}. {'; '.join(level_words)}."


def _share_words(row: PrevalenceRow) -> str:
    if row.share is None:
        return "not enough yet"
    return f"{number(row.share, 'share')}, interval {interval(row.low, row.high, 'share')}"


def _dot_row(level: str | None, moments: dict[str, PrevalenceRow]) -> DotRow:
    arrival, departure = moments["arrival"], moments["departure"]
    marks = tuple(mark for mark in (_mark(row) for row in (arrival, departure)) if mark)
    ends = [bare_number(row.share, "share") for row in (arrival, departure)]
    return DotRow(
        name=level_name(level),
        counted=f"{arrival.n_riders:,}",
        printed=f"{ends[0]} → <b>{ends[1]}</b>\u202f%" if len(marks) == 2 else "",
        marks=marks,
        missing=f"not enough yet ({counted(arrival.n_riders, 'rider')})",
    )


def _mark(row: PrevalenceRow) -> Mark | None:
    if row.share is None or row.low is None or row.high is None:
        return None
    hover = (
        f"<b>{level_name(row.level)}, at {row.moment}</b>"
        f"<br>{number(row.share, 'share')} ({interval(row.low, row.high, 'share')})"
        f"<br>{row.n_beyond:,} of {row.n_riders:,} riders"
    )
    return Mark(row.share, row.low, row.high, hover, is_quiet=row.moment == "arrival")

"""The periods of an anonymous export: whole calendar quarters that are over, joined until each brings so many new riders.

Two exports then differ by whole pieces of at least that many riders, whenever they were written: cut anywhere else, or while
a quarter goes on, one export less the other is a few riders or one.
"""

from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Any

from dashboard.questions.selection.selection import WORDS, Selection
from shared.errors import TooFewError, UsageError


@dataclass(frozen=True)
class Piece:
    """Consecutive quarters from a first day to a last one, and how many riders came for the first time in them."""

    first_day: date
    last_day: date
    n_riders: int


def pieces_of(quarters: list[dict[str, Any]], smallest: int) -> list[Piece]:
    """The pieces of `first_fits_by_quarter.sql`; what comes after the last whole one waits until it is enough."""
    pieces: list[Piece] = []
    begun: date | None = None
    n_riders = 0
    for row in quarters:
        begun = begun or row["quarter"]
        n_riders += row["n_riders"]
        if n_riders >= smallest:
            pieces.append(Piece(begun, _last_day(row["quarter"]), n_riders))
            begun, n_riders = None, 0
    return pieces


def _last_day(quarter: date) -> date:
    ahead = quarter + timedelta(days=95)
    return ahead.replace(day=1) - timedelta(days=1)


def on_grid(selection: Selection, pieces: list[Piece], smallest: int) -> Selection:
    """The selection from the first day of a piece to the last day of one; all pieces where nothing was asked.

    Raises TooFewError without a piece, UsageError where anything else was asked.
    """
    if not pieces:
        raise TooFewError(
            f"Anonymous export: found no time of whole calendar quarters in which {smallest} riders came for the first time, "
            f"expected one, among whom each can be hidden. Wait until there are more."
        )
    narrowed = sorted(set(selection.as_dict()) - {WORDS[name] for name in ("date_from", "date_to", "split")})
    if narrowed:
        raise UsageError(
            f"{', '.join(narrowed)}: found with --anonymous, expected from, to and split only. Two exports, one of them "
            "narrowed, may differ by one rider. Leave the word out."
        )
    first = selection.date_from or pieces[0].first_day
    last = selection.date_to or pieces[-1].last_day
    begins, ends = [piece.first_day for piece in pieces], [piece.last_day for piece in pieces]
    if first not in begins:
        raise UsageError(f"from: found {first} with --anonymous, expected one of {_listed(begins)}. {_WHY}")
    if last not in ends:
        raise UsageError(f"to: found {last} with --anonymous, expected one of {_listed(ends)}. {_WHY}")
    return replace(selection, date_from=first, date_to=last)


_WHY = "Whole quarters in which ten riders or more are new; two exports cut elsewhere would tell a few riders apart."


def _listed(days: list[date]) -> str:
    return ", ".join(day.isoformat() for day in days)

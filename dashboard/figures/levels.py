"""What each support did at the levels of a split: one row where the levels do not clearly differ, one a level where they do."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Any, Final

from dashboard.figures.effects import Empty, direction_axis, in_order, told_row, told_words
from dashboard.figures.names import SUPPORTS, plain
from dashboard.figures.told_rows import ToldRow, span_of, told_rows
from dashboard.questions.effects.answers_effects import FamilyRow
from dashboard.questions.models.answers_models import EffectRow

# Beyond so many rows the levels of further supports stand in the table alone.
MOST_ROWS: Final = 30


def told_once(rows: Sequence[EffectRow], families: Sequence[FamilyRow], outcome: str, split: str) -> list[list[EffectRow]]:
    """For each support of one outcome, in their order, the rows that tell of it: that over all where the levels of the split do
    not clearly differ, those of the levels where they do."""
    differing = {row.support for row in families if row.outcome == outcome and row.split == split and row.differs}
    told: list[list[EffectRow]] = []
    for overall in in_order(rows, outcome):
        levels = [
            row for row in rows if (row.outcome, row.support, row.split) == (outcome, overall.support, split) and row.level
        ]
        has_room = sum(map(len, told)) + len(levels) < MOST_ROWS
        told.append(levels if overall.support in differing and has_room else [overall])
    return told


def levels_chart(told: Sequence[Sequence[EffectRow]], outcome: str, empty: Empty, theme: str | None) -> dict[str, Any]:
    """The figure as a plain dict; the levels of a support stand below its name."""
    drawn = [drawn_row for rows in told for drawn_row in _drawn(rows, empty)]
    return told_rows(drawn, theme, **direction_axis(outcome), span=span_of(drawn))


def _drawn(rows: Sequence[EffectRow], empty: Empty) -> Iterator[ToldRow]:
    if rows and rows[0].level:
        yield ToldRow(f"<b>{SUPPORTS[rows[0].support]}</b>", "", None, None, is_claimed=False)
    for row in rows:
        yield replace(told_row(row, empty), name=plain(row.level) or SUPPORTS[row.support])


def alternative(told: Sequence[Sequence[EffectRow]], outcome: str, empty: Empty) -> str:
    """The chart in words, for a reader who does not see it."""
    return told_words([row for rows in told for row in rows], outcome, empty)

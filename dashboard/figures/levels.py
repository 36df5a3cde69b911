"""What each support did at the levels of a split: one row where the levels do not clearly differ, one a level where they do."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any, Final

from dashboard.figures.effects import Empty, direction_axis, in_order, told_row
from dashboard.figures.names import OUTCOMES, SUPPORTS, plain
from dashboard.figures.theme import interval
from dashboard.figures.told_rows import ToldRow, span_of, told_rows
from dashboard.questions.effects.answers_effects import FamilyRow
from dashboard.questions.models.answers_models import EffectRow

# Beyond so many rows the levels of further supports stand in the table alone.
MOST_ROWS: Final = 30


def told_once(
    rows: Sequence[EffectRow], families: Sequence[FamilyRow], outcome: str, split: str
) -> list[tuple[EffectRow, bool]]:
    """The rows of one outcome in the order of supports, and whether each tells of every level: that over all where the levels
    do not clearly differ, those of the levels where they do."""
    differing = {row.support for row in families if row.outcome == outcome and row.split == split and row.differs}
    told: list[tuple[EffectRow, bool]] = []
    for overall in in_order(rows, outcome):
        levels = [
            row for row in rows if (row.outcome, row.support, row.split) == (outcome, overall.support, split) and row.level
        ]
        if overall.support in differing and len(told) + len(levels) <= MOST_ROWS:
            told += [(row, False) for row in levels]
        else:
            told.append((overall, True))
    return told


def levels_chart(
    told: Sequence[tuple[EffectRow, bool]], outcome: str, split: str, empty: Empty, theme: str | None
) -> dict[str, Any]:
    """The figure as a plain dict."""
    drawn = [_named(row, is_whole, split, empty) for row, is_whole in told]
    return told_rows(drawn, theme, title=direction_axis(outcome), span=span_of(drawn))


def alternative(told: Sequence[tuple[EffectRow, bool]], outcome: str, split: str, empty: Empty) -> str:
    """The chart in words, for a reader who does not see it."""
    said = [
        f"{_name(row, is_whole, split)}: "
        f"{empty(row) if row.told_low is None else interval(row.told_low, row.told_high, row.unit, effect=True)}"
        f"{'' if row.direction or row.told_low is None else ', no clear change'}"
        for row, is_whole in told
    ]
    return f"Chart of the told intervals of {OUTCOMES[outcome].axis} by {plain(split)}. {'; '.join(said)}."


def _named(row: EffectRow, is_whole: bool, split: str, empty: Empty) -> ToldRow:
    return replace(told_row(row, empty), name=_name(row, is_whole, split))


def _name(row: EffectRow, is_whole: bool, split: str) -> str:
    return f"{SUPPORTS[row.support]}, {f'every {plain(split)}' if is_whole else plain(row.level)}"

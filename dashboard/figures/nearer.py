"""What each support did to the distance from neutral, for knees that came inward, near neutral or outward: a panel each."""

from collections.abc import Sequence
from typing import Any, Final

from dashboard.figures.effects import Empty, direction_axis, told_row
from dashboard.figures.names import SUPPORTS
from dashboard.figures.told_rows import span_of, told_rows
from dashboard.questions.effects.nearer import shift_words
from dashboard.questions.models.answers_models import EffectRow

OUTCOME: Final = "off_neutral"
ARRIVALS: Final = ("inward", "near neutral", "outward")


def of_arrival(rows: Sequence[EffectRow], arrival: str) -> list[EffectRow]:
    """The rows of one arrival direction in the fixed order of supports; `rows` are those on the distance from neutral."""
    by_support = {row.support: row for row in rows if row.level == arrival}
    return [by_support[support] for support in SUPPORTS if support in by_support]


def finding(rows: Sequence[EffectRow], arrival: str) -> str:
    """With how many supports these knees clearly came nearer, and with how many further, for the title of their panel."""
    name = f"Came {arrival}"
    here = of_arrival(rows, arrival)
    if all(row.told_low is None for row in here):
        return f"{name}: {'nothing is claimed' if any(row.pooled is not None for row in here) else 'not enough yet'}"
    nearer, further = (sum(row.direction == sign for row in here) for sign in (-1, 1))
    parts = [(words, n) for words, n in (("nearer", nearer), ("further", further)) if n]
    if not parts:
        return f"{name}: no clear change"
    return f"{name}: {', '.join(f'{n} {words}' for words, n in parts)}"


def alternative(rows: Sequence[EffectRow], arrival: str, empty: Empty) -> str:
    """The panel in words, for a reader who does not see it."""
    said = [
        f"{SUPPORTS[row.support]}: {empty(row)}"
        if row.told_low is None
        else f"{SUPPORTS[row.support]}: {shift_words(row)}{'' if row.direction else ', no clear change'}"
        for row in of_arrival(rows, arrival)
    ]
    return f"Chart of the told intervals of the distance from neutral, knees that came {arrival}: {'; '.join(said)}."


def nearer_panel(rows: Sequence[EffectRow], arrival: str, empty: Empty, theme: str | None) -> dict[str, Any]:
    """The panel of one arrival direction as a plain dict, to the measure of all three."""
    span = span_of([told_row(row, empty) for row in rows])
    here = [told_row(row, empty) for row in of_arrival(rows, arrival)]
    return told_rows(here, theme, **direction_axis(OUTCOME), span=span)

"""How many more fits would settle a figure."""

from dataclasses import dataclass
from typing import ClassVar

from dashboard.questions.selection.answers import Answer


@dataclass(frozen=True)
class PowerRow:
    """One support on one outcome, for one step of it (one level, one shim, 2 mm of stance), in `unit`.

    width: of the told interval today, None where there is none; matters: what it is to be narrower than. today_riders: how many
    more riders with such a change that takes by today's practice, and today_months how long; repeat_riders, repeat_months: with
    a repeat before each change; drawn_riders, drawn_months: where it is drawn against another step, whose difference is then
    told. 0: it is narrower already; None: no number of riders does it, or it is not known. by: `own` noise of the figure, or
    that of the studio's `other` supports where it has no figure yet.
    """

    outcome: str
    support: str
    unit: str
    n_riders: int
    n_changes: int
    width: float | None
    matters: float
    today_riders: int | None
    today_months: float | None
    repeat_riders: int | None
    repeat_months: float | None
    drawn_riders: int | None
    drawn_months: float | None
    by: str
    words: str


@dataclass(frozen=True)
class Power(Answer):
    """Every support on tilt and sway."""

    rows_name: ClassVar[str] = "power"

    headline: str
    power: tuple[PowerRow, ...]

"""The answer of left against right, for the picture of side differences."""

from dataclasses import dataclass
from typing import ClassVar

from dashboard.questions.selection.answers import AnswerOfFits


@dataclass(frozen=True)
class SidesRow:
    """Riders whose left and right knee stand at these values at one moment of their first session, in `unit`.

    `cell_size`: 0 where the values are as recorded; else the side of the square cell whose centre they are.
    """

    quantity: str
    unit: str
    moment: str
    cell_size: float
    left_value: float
    right_value: float
    is_beyond: bool
    n_riders: int


@dataclass(frozen=True)
class Sides(AnswerOfFits):
    """Left against right at arrival and departure of riders' first sessions."""

    rows_name: ClassVar[str] = "sides"
    headline: str
    cautions: tuple[str, ...]
    sides: tuple[SidesRow, ...]

"""The frozen answer of the question how the studio does."""

from dataclasses import dataclass
from datetime import date
from typing import ClassVar

from dashboard.questions.selection.answers import AnswerOfFits


@dataclass(frozen=True)
class StudioFigure:
    """One headline figure over the selection: `unit` is share (0 to 1) or points; `n` counts what `counted` names."""

    figure: str
    unit: str
    counted: str
    n: int
    estimate: float | None
    low: float | None
    high: float | None
    words: str
    n_riders: int = 0


@dataclass(frozen=True)
class StudioTrendRow:
    """One headline figure in one calendar month (`month` is its first day)."""

    figure: str
    month: date
    unit: str
    n: int
    estimate: float | None
    low: float | None
    high: float | None
    n_riders: int = 0


@dataclass(frozen=True)
class Studio(AnswerOfFits):
    """How we are doing: knees_better, side_difference_left, return_rate, comfort_gained; overall and by month."""

    rows_name: ClassVar[str] = "figures"
    headline: str
    figures: tuple[StudioFigure, ...]
    trend: tuple[StudioTrendRow, ...]

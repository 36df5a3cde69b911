"""The frozen answer of the question how a period compares with the one before and with the same one a year before."""

from dataclasses import dataclass
from datetime import date
from typing import ClassVar

from dashboard.questions.selection.answers import Answer


@dataclass(frozen=True)
class PeriodRow:
    """One headline figure in one period, in `unit`: this one, the one before, or the same one a year before (`which`)."""

    figure: str
    which: str
    date_from: date
    date_to: date
    unit: str
    counted: str
    n: int
    estimate: float | None
    low: float | None
    high: float | None
    n_riders: int = 0


@dataclass(frozen=True)
class PeriodChangeRow:
    """This period less an earlier one (`against`: before or year_before), in `unit` (share: difference of shares)."""

    figure: str
    against: str
    unit: str
    n_this: int
    n_against: int
    difference: float | None
    low: float | None
    high: float | None
    words: str
    n_riders_this: int = 0
    n_riders_against: int = 0


@dataclass(frozen=True)
class Periods(Answer):
    """The four headline figures of a period beside the period before and the same period a year before."""

    rows_name: ClassVar[str] = "periods"
    n_fits: int
    n_riders: int
    headline: str
    periods: tuple[PeriodRow, ...]
    changes: tuple[PeriodChangeRow, ...]

"""The frozen answer of the question how a period compares with the one before and with the same one a year before."""

from dataclasses import dataclass
from datetime import date
from typing import ClassVar

from dashboard.questions.selection.answers import AnswerOfFits
from dashboard.questions.selection.spans import Span
from dashboard.questions.studio.headline_figures import NOT_ENOUGH
from shared.statistics.told import direction


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
    """This period (`estimate`) less an earlier one (`against`: before or year_before), in `unit` (share: difference of shares).

    q_value: among all comparisons of the answer; `told` is higher, lower or no clear change; `judged` says it as better, worse,
    no clear change, not enough yet or not recorded.
    """

    figure: str
    against: str
    unit: str
    n_this: int
    n_against: int
    estimate: float | None
    estimate_against: float | None
    difference: float | None
    low: float | None
    high: float | None
    words: str
    n_riders_this: int = 0
    n_riders_against: int = 0
    p_value: float | None = None
    q_value: float | None = None
    judged: str = NOT_ENOUGH

    @property
    def told(self) -> str:
        return {1: "higher", -1: "lower", 0: "no clear change"}[direction(self.low, self.high, self.q_value)]


@dataclass(frozen=True)
class KneesRow:
    """What became of the knees of one period (`which`): `outcome` is better, no_clear_change or worse.

    Better and worse are by more than the noise; the three shares of `n` knees add up to one.
    """

    which: str
    outcome: str
    n: int
    n_outcome: int
    share: float | None
    low: float | None
    high: float | None
    n_riders: int = 0


@dataclass(frozen=True)
class Periods(AnswerOfFits):
    """The four headline figures of a period beside the period before and the same period a year before.

    Without dates the period is the last full month by today's calendar (`is_last_month`).
    """

    rows_name: ClassVar[str] = "changes"
    headline: str
    periods: tuple[PeriodRow, ...]
    changes: tuple[PeriodChangeRow, ...]
    knees: tuple[KneesRow, ...]
    is_last_month: bool = False

    def spans(self) -> dict[str, Span]:
        """The three periods by which they are: this, before, year_before."""
        return {row.which: Span(row.date_from, row.date_to) for row in self.periods}

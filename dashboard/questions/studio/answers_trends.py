"""The frozen answer of the question how the headline figures move over time."""

from dataclasses import dataclass
from datetime import date
from typing import ClassVar

from dashboard.questions.selection.answers import AnswerOfFits


@dataclass(frozen=True)
class TrendRow:
    """One figure in one calendar period (`period` is its first day), in `unit`; without a figure: a gap, or too few.

    `signals`: "step" from the period on at which the figure moved, where it did. goal: that held at the period's end.
    """

    figure: str
    unit: str
    counted: str
    period: date
    n: int
    estimate: float | None
    centre: float | None
    limit_low: float | None
    limit_high: float | None
    in_base: bool
    is_few: bool
    is_partial: bool
    signals: str
    note: str
    n_riders: int = 0
    goal: float | None = None


@dataclass(frozen=True)
class ChartRow:
    """The control chart of one figure: its kind, what its limits are frozen from, and whether it moved (n_signals 1).

    p_value: of its largest step after the base, where nothing moved; q_value: in the family of the figures.
    """

    figure: str
    unit: str
    chart: str
    base_from: date | None
    base_to: date | None
    n_base: int
    centre: float | None
    design_effect: float | None
    n_signals: int
    words: str
    p_value: float | None = None
    q_value: float | None = None


@dataclass(frozen=True)
class SignalRow:
    """A figure that moved: by one step (`rule`), higher or lower; `mean` from then on, `before` all that came before."""

    figure: str
    unit: str
    rule: str
    direction: str
    period_from: date
    period_to: date
    n_periods: int
    mean: float
    before: float
    centre: float
    words: str


@dataclass(frozen=True)
class BesideRow:
    """What changed beside a signal: one figure on the riders, the fitters or the noise, in the base period and here."""

    figure: str
    rule: str
    period_from: date
    beside: str
    unit: str
    base: float | None
    base_low: float | None
    base_high: float | None
    here: float | None
    here_low: float | None
    here_high: float | None
    words: str


@dataclass(frozen=True)
class NoteRow:
    """A dated note, of the settings or of the logbook (then with `entry_id`), and the period it falls in. freezes: the limits
    are frozen anew from it on."""

    on: date
    period: date
    words: str
    entry_id: str = ""
    freezes: bool = False


@dataclass(frozen=True)
class GoalRow:
    """The goal of one figure that is in force, or comes first, and what the figure's process makes of it (`verdict`).

    valid_from: None where the settings hold it; set_by, set_on: who set it, and when. low, high: the limits of the process of
    the last `n_periods`, from `period_from` on, about its mean `centre`; None where it is not enough yet.
    """

    figure: str
    unit: str
    goal: float
    valid_from: date | None
    set_by: str
    set_on: str
    verdict: str
    period_from: date | None
    n_periods: int
    centre: float | None
    low: float | None
    high: float | None
    words: str


@dataclass(frozen=True)
class Trends(AnswerOfFits):
    """How the headline figures move over time, and what changed where they move by more than chance."""

    rows_name: ClassVar[str] = "trend"
    every: str
    headline: str
    trend: tuple[TrendRow, ...]
    charts: tuple[ChartRow, ...]
    signals: tuple[SignalRow, ...]
    beside: tuple[BesideRow, ...]
    notes: tuple[NoteRow, ...]
    goals: tuple[GoalRow, ...] = ()

    def goal_by_figure(self) -> dict[str, GoalRow]:
        """The goal of each figure that has one."""
        return {row.figure: row for row in self.goals}

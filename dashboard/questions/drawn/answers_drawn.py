"""What a comparison of drawn order says."""

from dataclasses import dataclass
from datetime import date
from typing import ClassVar

from dashboard.questions.selection.answers import Answer
from shared.statistics.told import Claiming


@dataclass(frozen=True)
class ComparisonRow(Claiming):
    """One comparison: second step less first, by what was drawn to come first, in `unit`, at the capture after the draw.

    n_drawn; n_captured of them were measured before and after; n_waiting: the capture is not loaded yet; n_overruled: another
    step, or none, was made than was drawn. estimate, low, high: with the interval of the draw (`low_error`, `high_error`: how
    far its ends may be off, as orders are drawn by the thousand); always_low, always_high: the interval that holds at
    whichever look. told_low, told_high: the one that answers, `told_by` draw once the stop rule is reached, else always.
    q_value: among all comparisons. left_low, left_high: what the order left behind once both steps were made, in n_both fits.
    seed: once it is closed; is_as_sealed: whether every draw is what the seed that was sealed gives, None before. Not known
    yet: None.
    """

    comparison_id: str
    first_step: str
    second_step: str
    feet: str
    outcome: str
    unit: str
    opened_on: date
    closed_on: date | None
    stop_after: int
    n_drawn: int
    n_captured: int
    n_waiting: int
    n_overruled: int
    n_riders: int
    estimate: float | None
    low: float | None
    high: float | None
    low_error: float | None
    high_error: float | None
    always_low: float | None
    always_high: float | None
    told_low: float | None
    told_high: float | None
    told_by: str
    q_value: float | None
    left: float | None
    left_low: float | None
    left_high: float | None
    n_both: int
    commitment: str
    seed: str
    is_as_sealed: bool | None
    words: str

    @property
    def is_open(self) -> bool:
        return self.closed_on is None


@dataclass(frozen=True)
class ArmRow:
    """One of the two steps of a comparison, by what was drawn: means at the capture before it and of the change after it."""

    comparison_id: str
    arm: str
    step: str
    unit: str
    n_drawn: int
    n_captured: int
    n_overruled: int
    n_riders: int
    mean_before: float | None
    mean_change: float | None


@dataclass(frozen=True)
class DrawRow:
    """One draw: what was drawn, for which knee of which fit, by whom and when; what was made, and how the outcome changed.

    made: the step that the next capture shows, `nothing`, `other`, or empty where it is not loaded yet. before, change: in the
    comparison's unit.
    """

    draw_id: str
    comparison_id: str
    session_id: str
    side: str
    stratum: str
    block: int
    place: int
    arm: str
    drawn: str
    drawn_at: str
    made: str
    before: float | None
    change: float | None


@dataclass(frozen=True)
class Drawn(Answer):
    """Every comparison, its arms and its draws."""

    rows_name: ClassVar[str] = "comparisons"

    headline: str
    comparisons: tuple[ComparisonRow, ...]
    arms: tuple[ArmRow, ...]
    draws: tuple[DrawRow, ...]

"""What the checks question tells."""

from dataclasses import dataclass
from typing import ClassVar

from dashboard.questions.selection.answers import AnswerOfFits


@dataclass(frozen=True)
class CheckRow:
    """One check of one outcome: whether the effects hold as they are told; in `unit`.

    insole_shim: one shim without an insole (first) and on one (other); shim_bend: the first shim and each further one;
    stance_bend: one mm of stance up to the setting and beyond. Of those, first, other and other less first (difference) each
    from the lower to the higher end of both estimates' intervals. order_arch: how much more the outcome drifts from capture to
    capture on a high arch than on a low one (difference). late: which share of an effect comes one capture late (difference,
    a share). n_changes: changes that tell of it; of `late`, repeats after a change.

    p_value: the larger of both estimates'; q_value: in the family of the outcome, of `late` among the outcomes. is_allowed_for:
    both models hold the supports for it.
    """

    outcome: str
    check: str
    unit: str
    n_riders: int
    n_changes: int
    first_low: float | None
    first_high: float | None
    other_low: float | None
    other_high: float | None
    difference: float | None
    difference_low: float | None
    difference_high: float | None
    p_value: float | None
    q_value: float | None
    is_found: bool
    is_allowed_for: bool
    words: str


@dataclass(frozen=True)
class Checks(AnswerOfFits):
    """Do the effects hold as they are told: for each outcome whether they come late, depend on one another, bend, or drift."""

    rows_name: ClassVar[str] = "checks"
    headline: str
    checks: tuple[CheckRow, ...]

"""The answer on agreement with the exam. A flag asks for a second look with the fitter; it is no verdict."""

from dataclasses import dataclass
from datetime import date
from typing import ClassVar

from dashboard.questions.selection.answers import AnswerOfFits


@dataclass(frozen=True)
class AgreementRow:
    """Fits without a flag among those that can be judged: overall (`by` None), or of one month, fitter or level of the split.

    `level` of a month is its first day. Fitters stand in the order of their ids: this is no league.
    """

    by: str | None
    level: str | None
    n_fits: int
    n_judged: int
    n_in_agreement: int
    share: float | None
    low: float | None
    high: float | None
    words: str
    n_riders: int = 0


@dataclass(frozen=True)
class RuleRow:
    """How often one rule was asked (of feet, or of fits for the saddle) and what it answered."""

    rule: str
    told: str
    n_asked: int
    n_notes: int
    n_flags: int
    share_flagged: float | None
    low: float | None
    high: float | None
    n_riders: int = 0


@dataclass(frozen=True)
class LookRow:
    """One note or flag of a fit to look at together; `side` is None where it concerns both knees."""

    session_id: str
    session_date: date
    fitter_id: str
    side: str | None
    rule: str
    weight: str
    words: str


@dataclass(frozen=True)
class WorstRow:
    """One fit to discuss: how far from the exam it ended, in levels, shims and other findings (`n_steps` of all), both feet
    together, and what became of tilt, comfort and pain; `is_poor`: none of them came out better.

    `is_to_look_at` False: any flagged fit of a fitter with too few fits for a figure, whose cases are all there is to see.
    """

    session_id: str
    session_date: date
    fitter_id: str
    n_steps: int
    n_levels: int
    n_shims: int
    n_others: int
    is_poor: bool
    is_to_look_at: bool
    words: str


@dataclass(frozen=True)
class OutcomeRow:
    """One outcome of fits in agreement and of flagged ones, in `unit`; more is better.

    `difference` is in agreement less flagged, held for the value at arrival; `crude_difference` is not. p_value, q_value: of no
    difference.
    """

    outcome: str
    unit: str
    n_fits: int
    n_in_agreement: int
    n_flagged: int
    mean_in_agreement: float | None
    mean_flagged: float | None
    crude_difference: float | None
    difference: float | None
    low: float | None
    high: float | None
    words: str
    n_riders: int = 0
    p_value: float | None = None
    q_value: float | None = None


@dataclass(frozen=True)
class ShimPlaceRow:
    """Change of an outcome for one more varus shim `in_shoe`, `at_cleat`, or the second less the first (`difference`).

    p_value, q_value: of no difference between the places; a change at one place is not tested, since noise led to it.
    """

    outcome: str
    unit: str
    place: str
    n_changes: int
    n_riders: int
    per_shim: float | None
    low: float | None
    high: float | None
    words: str
    p_value: float | None = None
    q_value: float | None = None


@dataclass(frozen=True)
class AgreementWithExam(AnswerOfFits):
    """Do fits agree with the exam, which ones are to look at together, and does agreement go with better outcomes?

    n_flagged: fits with a flag; n_far: of these, far from the exam; n_to_look_at: of those, with nothing come out better.
    worst: the fits to look at, the furthest from the exam first, and then those of fitters with too few fits for a figure;
    look_at: their findings in the same order.
    """

    rows_name: ClassVar[str] = "look_at"
    n_judged: int
    n_flagged: int
    n_far: int
    n_to_look_at: int
    headline: str
    cautions: tuple[str, ...]
    agreement: tuple[AgreementRow, ...]
    months: tuple[AgreementRow, ...]
    fitters: tuple[AgreementRow, ...]
    rules: tuple[RuleRow, ...]
    outcomes: tuple[OutcomeRow, ...]
    shim_places: tuple[ShimPlaceRow, ...]
    worst: tuple[WorstRow, ...]
    look_at: tuple[LookRow, ...]

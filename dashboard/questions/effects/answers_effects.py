"""The frozen answer of the effects question: types together, dose, responders, distance and influence beside its rows."""

from dataclasses import dataclass
from typing import ClassVar

from dashboard.questions.models.answers_models import EffectRow
from dashboard.questions.selection.answers import AnswerOfFits
from shared.statistics.told import ROUGH_BELOW_DF, Claiming, is_sure


@dataclass(frozen=True)
class FamilyRow:
    """How much one support's effect differs between the levels of a split; figures in `unit`.

    overall: the levels brought together; between_sd: spread of the true effects between levels; prediction: where the effect
    in a level not yet seen would lie; p_value: of no difference between levels, the larger of both estimates'; q_value: in the
    family of all supports and outcomes of the split.
    """

    outcome: str
    support: str
    unit: str
    split: str
    n_levels: int
    overall: float
    overall_low: float
    overall_high: float
    between_sd: float
    prediction_low: float | None
    prediction_high: float | None
    p_value: float
    words: str
    q_value: float | None = None

    @property
    def differs(self) -> bool:
        """Whether a difference between the levels is claimed."""
        return is_sure(self.q_value)


@dataclass(frozen=True)
class DoseRow(Claiming):
    """The effect of a whole dose (shims in all, or mm of stance) against none; `line` is what the straight line says.

    line_p_value: of no bend, one value a support and outcome, and line_q_value in the family of all supports and outcomes.
    told_low, told_high, told_by, q_value: as in EffectRow, the family being the doses of an outcome. is_rough: any of both
    p-values rests on few degrees of freedom.
    """

    outcome: str
    support: str
    unit: str
    dose: float
    dose_unit: str
    n_riders: int
    n_changes: int
    pooled: float | None
    pooled_low: float | None
    pooled_high: float | None
    within: float | None
    within_low: float | None
    within_high: float | None
    bracket_low: float | None
    bracket_high: float | None
    line: float | None
    line_p_value: float | None
    words: str
    q_value: float | None = None
    told_low: float | None = None
    told_high: float | None = None
    told_by: str | None = None
    line_q_value: float | None = None
    is_rough: bool = False

    @property
    def is_bent(self) -> bool:
        """Whether it is claimed that the doses do not follow a straight line."""
        return is_sure(self.line_q_value)


@dataclass(frozen=True)
class ResponderRow:
    """The share of knees that were better, unchanged or worse at departure by more than the smallest real change."""

    outcome: str
    response: str
    limit: float
    unit: str
    n: int
    total: int
    share: float | None
    low: float | None
    high: float | None
    words: str
    n_riders: int = 0


@dataclass(frozen=True)
class NeutralRow(Claiming):
    """How the distance from neutral changed from arrival to departure, by arrival direction, in degrees.

    expected: what the noise of the arrival alone would do with nothing changed (regression to the mean); net: change less that.
    told_low, told_high: the interval that is told, here that of net (`told_by`); q_value: among the three directions.
    """

    arrival_direction: str
    n_knees: int
    n_riders: int
    change_deg: float | None
    expected_deg: float | None
    net_deg: float | None
    net_low_deg: float | None
    net_high_deg: float | None
    words: str
    q_value: float | None = None
    told_low: float | None = None
    told_high: float | None = None
    told_by: str | None = None

    @property
    def is_rough(self) -> bool:
        """Whether the p-value behind q, by Student's t on one degree of freedom less than riders, is rough."""
        return self.n_riders - 1 < ROUGH_BELOW_DF


@dataclass(frozen=True)
class InfluenceRow:
    """Between which values an estimate would lie with any one rider left out, and the riders at both ends, of each estimate."""

    outcome: str
    support: str
    unit: str
    pooled: float
    pooled_without_low: float
    pooled_without_high: float
    within: float
    within_without_low: float
    within_without_high: float
    rider_low: str
    rider_high: str
    within_rider_low: str = ""
    within_rider_high: str = ""


@dataclass(frozen=True)
class ResidualRow:
    """One quantile of the within-knee residuals of an outcome beside the normal curve's of the same spread."""

    outcome: str
    unit: str
    probability: float
    residual: float
    normal: float


@dataclass(frozen=True)
class Effects(AnswerOfFits):
    """What moved the knee: one row an outcome and support (and level of the split)."""

    rows_name: ClassVar[str] = "effects"
    n_captures: int
    headline: str
    effects: tuple[EffectRow, ...]
    families: tuple[FamilyRow, ...] = ()
    dose: tuple[DoseRow, ...] = ()
    responders: tuple[ResponderRow, ...] = ()
    off_neutral: tuple[NeutralRow, ...] = ()
    influence: tuple[InfluenceRow, ...] = ()
    residuals: tuple[ResidualRow, ...] = ()

"""The answer on side differences and knee patterns. A side difference is right less left."""

from dataclasses import dataclass
from typing import ClassVar

from dashboard.questions.selection.answers import AnswerOfFits


@dataclass(frozen=True)
class DifferenceRow:
    """Side differences of all selected fits at one moment, right less left, in `unit`; `split` and `level` None overall.

    p_value, q_value: of sides that lead alike.
    """

    quantity: str
    unit: str
    moment: str
    split: str | None
    level: str | None
    n_fits: int
    n_riders: int
    mean: float | None
    low: float | None
    high: float | None
    median_size: float | None
    p90_size: float | None
    words: str
    p_value: float | None = None
    q_value: float | None = None


@dataclass(frozen=True)
class PrevalenceRow:
    """Riders beyond `limit` at their first session; at a level also the difference from the riders outside of it.

    p_value, q_value: of no difference from them.
    """

    quantity: str
    unit: str
    limit: float
    moment: str
    split: str | None
    level: str | None
    n_riders: int
    n_beyond: int
    share: float | None
    low: float | None
    high: float | None
    other_share: float | None
    difference: float | None
    difference_low: float | None
    difference_high: float | None
    words: str
    p_value: float | None = None
    q_value: float | None = None


@dataclass(frozen=True)
class ChangeRow:
    """The same riders at arrival and departure of their first session; `finding` is a side difference or a knee pattern."""

    finding: str
    split: str | None
    level: str | None
    n_riders: int
    n_resolved: int
    n_persisting: int
    n_new: int
    n_none: int
    share_arrival: float | None
    share_departure: float | None
    difference: float | None
    low: float | None
    high: float | None
    p_value: float | None
    q_value: float | None
    words: str


@dataclass(frozen=True)
class FlowRow:
    """How many riders went from one named pattern at arrival to another at departure of their first session."""

    arrival_pattern: str
    departure_pattern: str
    n_riders: int


@dataclass(frozen=True)
class CurveRow:
    """The prevalence had the limit been another one, in `unit`."""

    quantity: str
    unit: str
    moment: str
    limit: float
    is_set_limit: bool
    n_riders: int
    share: float | None
    low: float | None
    high: float | None


@dataclass(frozen=True)
class RepeatRow:
    """What noise alone does: side differences of two captures in a row with nothing changed."""

    quantity: str
    unit: str
    limit: float
    n_pairs: int
    n_beyond: int
    n_no_longer: int
    share_no_longer: float | None
    low: float | None
    high: float | None
    words: str
    n_riders: int = 0


@dataclass(frozen=True)
class KneesRow:
    """Both knees of one first session at one moment, for the picture of left against right."""

    session_id: str
    moment: str
    tilt_left_deg: float
    tilt_right_deg: float
    pattern: str


@dataclass(frozen=True)
class Asymmetry(AnswerOfFits):
    """How common is a side difference, and is it resolved?"""

    rows_name: ClassVar[str] = "prevalence"
    headline: str
    cautions: tuple[str, ...]
    prevalence: tuple[PrevalenceRow, ...]
    change: tuple[ChangeRow, ...]
    patterns: tuple[ChangeRow, ...]
    flow: tuple[FlowRow, ...]
    differences: tuple[DifferenceRow, ...]
    curve: tuple[CurveRow, ...]
    repeats: tuple[RepeatRow, ...]
    knees: tuple[KneesRow, ...]

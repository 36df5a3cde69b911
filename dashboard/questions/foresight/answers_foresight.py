"""What is foreseen of captures to come."""

from dataclasses import dataclass
from typing import ClassVar

from dashboard.questions.selection.answers import Answer


@dataclass(frozen=True)
class ForeseenRow:
    """One outcome of one knee in one capture, from the exam and what was measured before the first change.

    outcome: tilt (degrees), sway (mm) or off_neutral (degrees from neutral); expected, low, high: in its unit, of the capture
    as it will be measured, the band holding `level` of such captures; None beyond the data. n_alike: knees of the same foot
    type that arrived on the same side of neutral, among those it rests on.
    """

    session_id: str
    side: str
    capture_no: int
    outcome: str
    expected: float | None
    low: float | None
    high: float | None
    level: float
    n_alike: int
    beyond_data: bool
    words: str


@dataclass(frozen=True)
class ForeseenFits(Answer):
    """Every capture after the first, foreseen."""

    rows_name: ClassVar[str] = "foreseen"

    headline: str
    foreseen: tuple[ForeseenRow, ...]


@dataclass(frozen=True)
class ForesightRow:
    """How well captures of one outcome were foreseen, in `unit`: over all, in the last changes, by foot type, fitter, month.

    inside, inside_low, inside_high: the share that fell inside the band, 0 to 1, with its interval by riders; width: of the
    band on average; off: how far the expected figure was off on average; off_arrival, off_mean: how far "same as at arrival"
    and the mean of all captures before would have been.
    """

    outcome: str
    unit: str
    group: str
    level: str
    n_captures: int
    n_riders: int
    inside: float | None
    inside_low: float | None
    inside_high: float | None
    width: float
    off: float
    off_arrival: float
    off_mean: float
    words: str


@dataclass(frozen=True)
class ReliabilityRow:
    """A tenth of the captures of one outcome, from the lowest to the highest expected, in `unit`."""

    outcome: str
    unit: str
    part: int
    n_captures: int
    n_riders: int
    expected: float
    measured: float


@dataclass(frozen=True)
class Foresight(Answer):
    """How well past fits would have been foreseen, each from the fits of earlier quarters alone."""

    rows_name: ClassVar[str] = "foresight"

    headline: str
    is_kept: bool | None
    foresight: tuple[ForesightRow, ...]
    reliability: tuple[ReliabilityRow, ...]

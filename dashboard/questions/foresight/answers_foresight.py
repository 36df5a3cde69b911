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

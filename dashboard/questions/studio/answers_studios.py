"""The frozen answer of the question how one studio does beside the others."""

from dataclasses import dataclass
from typing import ClassVar

from dashboard.questions.selection.answers import AnswerOfFits
from dashboard.questions.studio.headline_figures import NOT_ENOUGH


@dataclass(frozen=True)
class OneStudioRow:
    """One headline figure of one studio, in `unit`."""

    figure: str
    studio: str
    unit: str
    counted: str
    n: int
    estimate: float | None
    low: float | None
    high: float | None
    n_riders: int = 0


@dataclass(frozen=True)
class BetweenStudiosRow:
    """One studio less another one, or less all others together (`against`), in `unit` (share: difference of shares).

    q_value: among all comparisons of the answer; `judged`: better, worse, no clear difference or not enough yet.
    """

    figure: str
    studio: str
    against: str
    unit: str
    n_this: int
    n_against: int
    difference: float | None
    low: float | None
    high: float | None
    words: str
    p_value: float | None = None
    q_value: float | None = None
    judged: str = NOT_ENOUGH


@dataclass(frozen=True)
class Studios(AnswerOfFits):
    """The four headline figures of each studio, and the differences between them as one family."""

    rows_name: ClassVar[str] = "differences"
    headline: str
    figures: tuple[OneStudioRow, ...]
    differences: tuple[BetweenStudiosRow, ...]

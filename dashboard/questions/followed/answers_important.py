"""The frozen answer of the question from how many points on a change matters to riders."""

from dataclasses import dataclass
from typing import ClassVar

from dashboard.questions.selection.answers import AnswerOfFits


@dataclass(frozen=True)
class ImportantChangeRow:
    """The minimal important change of comfort (risen) or pain (fallen), in points of 10, from a fit's arrival to its follow-up.

    n: fits rated again whose rider was asked how much better it is; n_better: of these, said at least `better_from`.
    unadjusted_points: before the adjustment for the share of those; smallest_real_points: what a rating must move by to have
    moved at all. None where it cannot be told, and `words` says why.
    """

    topic: str
    better_from: str
    n: int
    n_riders: int
    n_better: int
    smallest_real_points: float
    points: float | None = None
    low_points: float | None = None
    high_points: float | None = None
    unadjusted_points: float | None = None
    correlation: float | None = None
    words: str = ""


@dataclass(frozen=True)
class ImportantChange(AnswerOfFits):
    """From how many points on a change of comfort or pain matters to riders."""

    rows_name: ClassVar[str] = "changes"
    headline: str
    cautions: tuple[str, ...]
    changes: tuple[ImportantChangeRow, ...]

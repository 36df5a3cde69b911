"""The answer on what riders say: comfort, stability, foot room, pain."""

from dataclasses import dataclass
from typing import ClassVar

from dashboard.questions.selection.answers import AnswerOfFits


@dataclass(frozen=True)
class RatingRow:
    """One topic from one moment to another, scores 0 to 10; changes in points, later less earlier.

    A pair is one rating of the same part of the body at both moments. `n_at_best`: pairs that could not get better, since
    the earlier score was the best one already. For pain a lower score is better. `n_not_again`: ratings of the earlier moment
    that have none at the follow-up, of fits whose window has closed.
    """

    topic: str
    body_part: str | None
    from_moment: str
    to_moment: str
    split: str | None
    level: str | None
    n_pairs: int
    n_riders: int
    n_at_best: int
    median_from: float | None
    median_to: float | None
    median_change_points: float | None
    mean_change_points: float | None
    mean_low_points: float | None
    mean_high_points: float | None
    share_better: float | None
    better_low: float | None
    better_high: float | None
    share_same: float | None
    same_low: float | None
    same_high: float | None
    share_worse: float | None
    worse_low: float | None
    worse_high: float | None
    p_value: float | None
    q_value: float | None
    words: str
    n_not_again: int = 0


@dataclass(frozen=True)
class Ratings(AnswerOfFits):
    """Do riders leave more comfortable than they came, and does it last?"""

    rows_name: ClassVar[str] = "ratings"
    headline: str
    cautions: tuple[str, ...]
    ratings: tuple[RatingRow, ...]
    body_parts: tuple[RatingRow, ...]

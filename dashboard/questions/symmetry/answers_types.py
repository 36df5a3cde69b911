"""The answer on the kinds of feet."""

from dataclasses import dataclass
from typing import ClassVar

from dashboard.questions.selection.answers import AnswerOfFits


@dataclass(frozen=True)
class TypeRow:
    """The share of feet of one `kind` in one `column` of the exam, overall or at one level of the split.

    `n_effective`: how many unrelated feet would tell as much; `published_share`: the literature's, where there is one.
    """

    column: str
    kind: str
    split: str | None
    level: str | None
    n_feet: int
    n_feet_of_kind: int
    n_riders: int
    n_effective: float | None
    share: float | None
    low: float | None
    high: float | None
    published_share: float | None
    words: str


@dataclass(frozen=True)
class AlikeRow:
    """Riders both of whose feet were examined: how many have two feet of the same kind."""

    column: str
    n_riders: int
    n_alike: int
    share: float | None
    low: float | None
    high: float | None
    words: str


@dataclass(frozen=True)
class Types(AnswerOfFits):
    """What feet do this studio's riders have?"""

    rows_name: ClassVar[str] = "types"
    headline: str
    cautions: tuple[str, ...]
    types: tuple[TypeRow, ...]
    alike: tuple[AlikeRow, ...]

"""Whether a column, or one side of it, has the other sign: left against right, and knees against what was done to the feet.

All by rank correlations over riders. That a rider's two knees and feet are alike, that a varus shim moves a knee outward, that
a foot moved outward takes offset away, and that a varus forefoot is given shims, is common practice, no source; that nothing is
asked in the demo and in simulated studios is tested.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from etl.asked_lines import Lines, Question, is_kept, kept, key_of
from shared.settings import Warnings
from shared.statistics.ranks import RankCorrelation, rank_correlation

Rows = dict[str, NDArray[Any]]
_SIDES: Final = ("left", "right")

# What has a sign: its table, and how it is called. Both sides of a rider agree as a rule.
_SIGNED: Final = {
    "knee_tilt_deg": ("knee_captures", "tilt", "knees lean"),
    "knee_offset_mm": ("knee_captures", "offset", "knees stand"),
    "forefoot_angle_deg": ("foot_exams", "forefoot angle", "forefeet stand"),
    "shims_added": ("foot_setups", "shims", "feet are wedged"),
    "stance_mm": ("foot_setups", "stance", "feet are moved"),
}


@dataclass(frozen=True)
class _Together:
    """Two quantities that go together: +1 where both rise, -1 where one falls. `first`, `other`: columns of the contract."""

    of_first: str
    of_other: str
    sign: int
    first: str
    other: str
    rule: str
    found: str


_SHIMS: Final = _Together(
    "tilt_moved", "shims_moved", 1, "knee_tilt_deg", "shims_added",
    "a varus shim (+) moves the knee outward (+)", "knees moved inward where shims were added",
)  # fmt: skip
_STANCE: Final = _Together(
    "offset_moved", "stance_moved", -1, "knee_offset_mm", "stance_mm",
    "a foot moved outward (+) comes out from under its knee, so that the offset falls", "the offset rose with the stance",
)  # fmt: skip
_EXAM: Final = _Together(
    "forefoot_angle_deg", "shims", 1, "forefoot_angle_deg", "shims_added",
    "a forefoot in varus (+) is given more shims (+)", "feet in varus left with fewer shims",
)  # fmt: skip
_RULES: Final = (_SHIMS, _STANCE, _EXAM)


@dataclass(frozen=True)
class Signs:
    """One studio's riders, by side, and what of them is asked; `where`: the studio as a sentence ends in it."""

    rows: Rows
    studio: str
    limits: Warnings
    lines: Lines
    confirmed: frozenset[str]

    def leans_with(self, question: Question) -> bool:
        """Whether a question about all studios is against what this one shows, so that it is not one about all."""
        if question.kind == "mirrored":
            found, sign = self._of_sides(question.column), 1
        else:
            rule = next(rule for rule in _RULES if question.column in {rule.first, rule.other})
            found, sign = self._of_both(rule), rule.sign
        return found is not None and found.rho * sign > 0

    def questions(self) -> Iterator[Question]:
        """Sides that go opposite ways first; what stands on such a column is not asked of the whole."""
        mirrored = {column for column in _SIGNED if self._is_against(self._of_sides(column), 1)}
        for column in mirrored_in_order(mirrored):
            if not is_kept(self.confirmed, f"{column} mirrored", self.studio):
                yield self._mirrored(column)
        for rule in _RULES:
            if not mirrored & {rule.first, rule.other} and self._is_against(self._of_both(rule), rule.sign):
                question = self._reversed(rule)
                if question:
                    yield question

    def _mirrored(self, column: str) -> Question:
        table, name, do = _SIGNED[column]
        found = self._of_sides(column)
        side = self._side_against(column)
        which = f" Of the two it is the {side} one that does not answer as a rule." if side else ""
        lines = " or, for the right side, ".join(
            self.lines.flipped(table, column, frozenset({one})) for one in ((side,) if side else _SIDES)
        )
        words = (
            f"Has one side of {column} the other sign{self._where}? As a rule both {do} alike in a rider; here {name} of left "
            f"and right goes opposite ways ({_of_riders(found)}).{which}"
        )
        return Question("mirrored", table, column, self.studio, words, lines, kept(key_of(f"{column} mirrored", self.studio)))

    def _reversed(self, rule: _Together) -> Question | None:
        suspects = [column for column in (rule.first, rule.other) if not self._agrees_elsewhere(column, rule)]
        columns = suspects if len(suspects) == 1 else [rule.first, rule.other]
        if any(is_kept(self.confirmed, f"{column} reversed", self.studio) for column in columns):
            return None
        key = key_of(f"{columns[0]} reversed", self.studio)
        other = rule.other if columns == [rule.first] else rule.first
        against = f" {other} agrees with what else was recorded." if len(suspects) == 1 else ""
        words = (
            f"Is the sign of {' or of '.join(columns)} turned over{self._where}? As a rule {rule.rule}; here {rule.found} "
            f"({_of_riders(self._of_both(rule))}).{against}"
        )
        lines = " or ".join(self.lines.flipped(_SIGNED[column][0], column) for column in columns)
        return Question("reversed", _SIGNED[columns[0]][0], columns[0], self.studio, words, lines, kept(key))

    def _of_sides(self, column: str) -> RankCorrelation | None:
        left, right = (self._side(column, side) for side in _SIDES)
        return rank_correlation(left, right, self.limits.ask_riders)

    def _of_side(self, rule: _Together, side: str) -> RankCorrelation | None:
        return rank_correlation(self._side(rule.of_first, side), self._side(rule.of_other, side), self.limits.ask_riders)

    def _of_both(self, rule: _Together) -> RankCorrelation | None:
        first, other = (np.mean([self._side(name, side) for side in _SIDES], axis=0) for name in (rule.of_first, rule.of_other))
        return rank_correlation(first, other, self.limits.ask_riders)

    def _side(self, name: str, side: str) -> NDArray[np.float64]:
        """One side's values in the order of the riders; every rider has a row of each side."""
        return np.asarray(self.rows[name][self.rows["is_right"] == (side == "right")], dtype=np.float64)

    def _is_against(self, found: RankCorrelation | None, sign: int) -> bool:
        """Whether a correlation is surely, and worth a question, the other way than `sign`."""
        if found is None or found.rho * sign > -self.limits.ask_correlation:
            return False
        return (found.p_below if sign > 0 else found.p_above) <= self.limits.ask_below_p

    def _is_with(self, found: RankCorrelation | None, sign: int) -> bool:
        return self._is_against(found, -sign)

    def _side_against(self, column: str) -> str:
        """The side on which a column does not answer as a rule while the other one does; empty where it cannot be told."""
        for rule in _RULES:
            if column in {rule.first, rule.other}:
                against = [side for side in _SIDES if self._is_against(self._of_side(rule, side), rule.sign)]
                agree = [side for side in _SIDES if self._is_with(self._of_side(rule, side), rule.sign)]
                if len(against) == len(agree) == 1:
                    return against[0]
        return ""

    def _agrees_elsewhere(self, column: str, broken: _Together) -> bool:
        """Whether another rule on the column holds, so that the broken one speaks against the other column."""
        return any(
            column in {rule.first, rule.other} and self._is_with(self._of_both(rule), rule.sign)
            for rule in _RULES
            if rule is not broken
        )

    @property
    def _where(self) -> str:
        return f" in studio {self.studio}" if self.studio else ""


def mirrored_in_order(mirrored: set[str]) -> list[str]:
    """The columns in the order of the contract's signs, so that a check says the same each time."""
    return [column for column in _SIGNED if column in mirrored]


def _of_riders(found: RankCorrelation | None) -> str:
    return f"rank correlation {found.rho:.2f} over {found.n:,} riders".replace("-", "−") if found else ""

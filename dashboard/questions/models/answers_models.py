"""The row that both effect models tell of one support."""

from dataclasses import dataclass

from shared.statistics.told import Claiming


@dataclass(frozen=True)
class EffectRow(Claiming):
    """One support on one outcome, overall (`split` and `level` None) or at one level of a split; in `unit`.

    shrunk: the level's pooled estimate drawn toward the overall effect by how little it tells on its own. told_low, told_high:
    the one interval that is told, and what it was told by. sequential: the third estimate, with the first-stage strength it
    rests on; overall rows alone have one. is_rough: the p-value behind q rests on few degrees of freedom.
    """

    outcome: str
    support: str
    unit: str
    split: str | None
    level: str | None
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
    q_value: float | None
    words: str
    shrunk: float | None = None
    shrunk_low: float | None = None
    shrunk_high: float | None = None
    told_low: float | None = None
    told_high: float | None = None
    told_by: str | None = None
    is_rough: bool = False
    sequential: float | None = None
    sequential_low: float | None = None
    sequential_high: float | None = None
    strength: float | None = None

"""Rows of the question `rig`."""

from dataclasses import dataclass
from datetime import date
from typing import ClassVar

from dashboard.questions.selection.answers import Answer
from shared.rig.findings import RigFinding


@dataclass(frozen=True)
class RigMonthRow:
    """The mean tilt at arrival of one studio's fits of one month, signed: of `both` knees, or `right_less_left`."""

    studio: str
    knees: str
    month: date
    unit: str
    n_fits: int
    n_riders: int
    estimate: float | None
    low: float | None
    high: float | None


@dataclass(frozen=True)
class Rig(Answer):
    """Whether the rigs still measure what they measured before; `findings` are over all fits, `months` over those selected."""

    rows_name: ClassVar[str] = "findings"
    headline: str
    findings: tuple[RigFinding, ...]
    months: tuple[RigMonthRow, ...]

"""Rows of the question `data` on what waits, what was left out load by load, and what the exams leave empty."""

from dataclasses import dataclass


@dataclass(frozen=True)
class WaitingRow:
    """Rows of one file that wait for the same session: `column` names `value`, which is not loaded yet."""

    load_id: int
    file: str
    table: str
    column: str
    value: str
    n: int


@dataclass(frozen=True)
class LeftOutRow:
    """How many rows of one load were left out for one rule, as it was when they were loaded.

    A rejected row that breaks several rules counts under each. The rule of a waiting row is `waiting`.
    """

    load_id: int
    state: str
    rule: str
    n: int


@dataclass(frozen=True)
class ExamRow:
    """On how many of the selected fits' feet one column of the exam is empty: `n` of `total` feet."""

    column: str
    n: int
    total: int
    share: float | None

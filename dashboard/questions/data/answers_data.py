"""The frozen answer of the question whether the data can be trusted."""

from dataclasses import dataclass
from datetime import date
from typing import ClassVar

from dashboard.questions.selection.answers import Answer


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


@dataclass(frozen=True)
class TableRow:
    """What the warehouse holds of one table. `cells`: faulty cells that were left out of rows that are stored."""

    table: str
    stored: int
    waiting: int
    rejected: int
    first_date: date | None
    last_date: date | None
    cells: int = 0


@dataclass(frozen=True)
class LoadRow:
    """One load that changed the warehouse; of one that was taken back (`undone_at`) the counts are gone.

    names: the files, parted by line ends.
    """

    load_id: int
    loaded_at: str
    files: int
    read: int
    stored: int
    replaced: int
    unchanged: int
    rejected: int
    waiting: int
    names: str = ""
    undone_at: str | None = None


@dataclass(frozen=True)
class ReasonRow:
    """How many rows of one table wait or were rejected for one reason; of the state `cell left out`, how many cells were left
    out of rows that are stored."""

    state: str
    table: str
    rule: str
    n: int
    words: str


@dataclass(frozen=True)
class RejectRow:
    """One finding of a rejected row, and the row as it was received (JSON text). `is_cell`: the cell alone was left out, and
    its row is stored."""

    load_id: int
    file: str
    line: int
    table: str
    column: str
    rule: str
    value: str | None
    words: str
    received: str
    is_cell: bool = False


@dataclass(frozen=True)
class WarningRow:
    """The soft warnings of one rule on one column: how many rows, and the sentences of the first three."""

    rule: str
    table: str
    column: str
    n: int
    words: str


@dataclass(frozen=True)
class QualityRow:
    """One figure on whether the data can be trusted: `n` of `total`, as a share with its interval."""

    check: str
    n: int
    total: int
    share: float | None
    low: float | None
    high: float | None
    words: str


@dataclass(frozen=True)
class AbsentRow:
    """A table, or a column as table.column, of which the warehouse holds nothing, and what is not told without it."""

    stand: str
    words: str


@dataclass(frozen=True)
class Data(Answer):
    """Can we trust it: tables, loads, reasons, rejected rows, completeness, and what is not recorded."""

    rows_name: ClassVar[str] = "tables"
    headline: str
    tables: tuple[TableRow, ...]
    loads: tuple[LoadRow, ...]
    reasons: tuple[ReasonRow, ...]
    rejects: tuple[RejectRow, ...]
    quality: tuple[QualityRow, ...]
    warnings: tuple[WarningRow, ...] = ()
    waiting: tuple[WaitingRow, ...] = ()
    left_out: tuple[LeftOutRow, ...] = ()
    exams: tuple[ExamRow, ...] = ()
    absent: tuple[AbsentRow, ...] = ()

"""The frozen answers of the questions. A page, `fitledger show` and the report print these same objects.

Every answer carries `as_of` (the latest date seen in any table), `selection` (what was asked for), `method` (how it was
computed, in words) and lists of flat rows with unit-bearing keys. A figure that may not be shown is None and `words`
says why.
"""

import csv
import dataclasses
import io
import re
import typing
from dataclasses import dataclass
from datetime import date
from typing import Any, ClassVar

import orjson

from dashboard.questions.answers_data import ExamRow, LeftOutRow, WaitingRow
from dashboard.questions.answers_effects import (
    DoseRow,
    FamilyRow,
    InfluenceRow,
    NeutralRow,
    NoiseGroupRow,
    ResidualRow,
    ResponderRow,
)
from shared.statistics.told import Claiming

# Cells that a spreadsheet would run as a formula are written as text, behind an apostrophe; so are cells that begin like
# one already, so that taking one apostrophe off gives every cell back. A plain number is no formula. The wide forms of the
# signs are run by spreadsheets that are set to languages with such forms.
_RUNS = re.compile(r"'*[=+\-@\t\r\n＝＋－＠]")
_NUMBER = re.compile(r"[+-]?\d+(\.\d*)?([eE][+-]?\d+)?")
# Both as text, for tables that SQL writes: how a formula begins, and what is a number all the same.
RUNS_AS_FORMULA = (_RUNS.pattern, _NUMBER.pattern)


@dataclass(frozen=True)
class Answer:
    """What every question returns; `rows_name` is the list that --csv prints."""

    rows_name: ClassVar[str]

    as_of: date | None
    selection: dict[str, Any]
    selection_words: str
    method: dict[str, Any]

    @classmethod
    def lists(cls) -> dict[str, type]:
        """The lists of rows in this kind of answer, each with the class of its rows."""
        rows = {name: next(iter(typing.get_args(kind)), None) for name, kind in typing.get_type_hints(cls).items()}
        return {name: typing.cast(type, row) for name, row in rows.items() if dataclasses.is_dataclass(row)}

    def to_json(self, **beside: Any) -> bytes:
        """As JSON, with what is told `beside` it at its end."""
        told = {field.name: getattr(self, field.name) for field in dataclasses.fields(self)} | beside
        # A list whose rows are made as they are read becomes all of them.
        return orjson.dumps(told, default=tuple, option=orjson.OPT_INDENT_2)

    def rows(self, name: str | None = None) -> list[dict[str, Any]]:
        return [dataclasses.asdict(row) for row in getattr(self, name or self.rows_name)]

    def to_csv(self, name: str | None = None) -> str:
        return rows_to_csv(self.rows(name))


def rows_to_csv(rows: list[dict[str, Any]]) -> str:
    """Flat rows as RFC 4180 text, safe to open in a spreadsheet."""
    if not rows:
        return ""
    text = io.StringIO()
    writer = csv.DictWriter(text, fieldnames=list(rows[0]), lineterminator="\r\n")
    writer.writeheader()
    writer.writerows({key: _safe(value) for key, value in row.items()} for row in rows)
    return text.getvalue()


def _safe(value: Any) -> Any:
    if isinstance(value, str) and _RUNS.match(value) and not _NUMBER.fullmatch(value):
        return f"'{value}"
    return value


@dataclass(frozen=True)
class EffectRow(Claiming):
    """One support on one outcome, overall (`split` and `level` None) or at one level of a split; in `unit`.

    shrunk: the level's pooled estimate drawn toward the overall effect by how little it tells on its own. told_low, told_high:
    the one interval that is told, and what it was told by. is_rough: the p-value behind q rests on few degrees of freedom.
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


@dataclass(frozen=True)
class Effects(Answer):
    """What moved the knee: one row an outcome and support (and level of the split)."""

    rows_name: ClassVar[str] = "effects"
    n_fits: int
    n_riders: int
    n_captures: int
    headline: str
    effects: tuple[EffectRow, ...]
    families: tuple[FamilyRow, ...] = ()
    dose: tuple[DoseRow, ...] = ()
    responders: tuple[ResponderRow, ...] = ()
    off_neutral: tuple[NeutralRow, ...] = ()
    influence: tuple[InfluenceRow, ...] = ()
    residuals: tuple[ResidualRow, ...] = ()


@dataclass(frozen=True)
class StudioFigure:
    """One headline figure over the selection: `unit` is share (0 to 1) or points; `n` counts what `counted` names."""

    figure: str
    unit: str
    counted: str
    n: int
    estimate: float | None
    low: float | None
    high: float | None
    words: str
    n_riders: int = 0


@dataclass(frozen=True)
class StudioTrendRow:
    """One headline figure in one calendar month (`month` is its first day)."""

    figure: str
    month: date
    unit: str
    n: int
    estimate: float | None
    low: float | None
    high: float | None
    n_riders: int = 0


@dataclass(frozen=True)
class Studio(Answer):
    """How we are doing: knees_better, side_difference_left, return_rate, comfort_gained; overall and by month."""

    rows_name: ClassVar[str] = "figures"
    n_fits: int
    n_riders: int
    headline: str
    figures: tuple[StudioFigure, ...]
    trend: tuple[StudioTrendRow, ...]


@dataclass(frozen=True)
class NoiseRow:
    """Typical error and smallest real change (MDC95) of one outcome from repeat captures; in `unit`."""

    outcome: str
    unit: str
    n_pairs: int
    n_riders: int
    typical_error: float | None
    typical_error_low: float | None
    typical_error_high: float | None
    mdc95: float | None
    mean_drift: float | None
    mean_drift_low: float | None
    mean_drift_high: float | None
    limit_low: float | None
    limit_high: float | None
    words: str


@dataclass(frozen=True)
class Noise(Answer):
    """How much a knee differs from itself when nothing was changed."""

    rows_name: ClassVar[str] = "noise"
    headline: str
    noise: tuple[NoiseRow, ...]
    groups: tuple[NoiseGroupRow, ...] = ()


@dataclass(frozen=True)
class TableRow:
    """What the warehouse holds of one table."""

    table: str
    stored: int
    waiting: int
    rejected: int
    first_date: date | None
    last_date: date | None


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
    """How many rows of one table wait or were rejected for one reason."""

    state: str
    table: str
    rule: str
    n: int
    words: str


@dataclass(frozen=True)
class RejectRow:
    """One finding of a rejected row, and the row as it was received (JSON text)."""

    load_id: int
    file: str
    line: int
    table: str
    column: str
    rule: str
    value: str | None
    words: str
    received: str


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
class Data(Answer):
    """Can we trust it: tables, loads, reasons, rejected rows, completeness."""

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

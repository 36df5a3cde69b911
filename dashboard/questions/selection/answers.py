"""What every answer is: frozen objects that a page, `fitledger show` and the report print alike.

Every answer carries `as_of` (the latest date seen in any table), `selection` (what was asked for), `method` (how it was
computed, in words) and lists of flat rows with unit-bearing keys. A figure that may not be shown is None and `words`
says why.
"""

import csv
import dataclasses
import io
import re
import typing
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any, ClassVar

import orjson

# Cells that a spreadsheet would run as a formula are written as text, behind an apostrophe; so are cells that begin like
# one already, so that taking one apostrophe off gives every cell back. A plain number is no formula. The wide forms of the
# signs are run by spreadsheets that are set to languages with such forms.
_RUNS = re.compile(r"'*[=+\-@\t\r\n＝＋－＠]")
_NUMBER = re.compile(r"[+-]?\d+([.,]\d*)?([eE][+-]?\d+)?")
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
        fields = {field.name: getattr(self, field.name) for field in dataclasses.fields(self)} | beside
        # A list whose rows are made as they are read becomes all of them.
        return orjson.dumps(fields, default=tuple, option=orjson.OPT_INDENT_2)

    def rows(self, name: str | None = None) -> list[dict[str, Any]]:
        return [dataclasses.asdict(row) for row in getattr(self, name or self.rows_name)]

    def to_csv(self, name: str | None = None) -> str:
        return rows_to_csv(self.rows(name))


@dataclass(frozen=True)
class AnswerOfFits(Answer):
    """An answer about some fits of some riders."""

    n_fits: int
    n_riders: int


def rows_to_csv(rows: list[dict[str, Any]]) -> str:
    """Flat rows as RFC 4180 text, safe to open in a spreadsheet."""
    if not rows:
        return ""
    return cells_to_csv(rows[0], (row.values() for row in rows))


def cells_to_csv(headings: Iterable[str], rows: Iterable[Iterable[Any]]) -> str:
    """Headings and cells as RFC 4180 text, safe to open in a spreadsheet; a heading may stand twice."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerows([_safe(cell) for cell in row] for row in (headings, *rows))
    return text.getvalue()


def _safe(value: Any) -> Any:
    if isinstance(value, str) and _RUNS.match(value) and not _NUMBER.fullmatch(value):
        return f"'{value}"
    return value

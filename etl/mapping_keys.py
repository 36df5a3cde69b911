"""The keys of a mapping: what may be said of a file's form, of a column, of a log and of a table, as frozen models."""

import re
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, model_validator

ENCODINGS = (
    "utf-8", "utf-16", "utf-16-le", "utf-16-be", "windows-1252", "windows-1250", "windows-1251", "iso-8859-1",
    "iso-8859-15", "mac-roman",
)  # fmt: skip
# Directives that DuckDB's strptime and Python's share.
_DATE_FORM = r"^(?:[^%\x00]|%-?[dmyHMSIj]|%[YpbBaAfz%])+$"

# What a file's place tells, to be named like a column of it: the whole path, the file's own name without its ending, the name
# of the folder (or archive) that it lies in, and the sheet.
PLACES = ("@path", "@file", "@folder", "@sheet")

Text = Annotated[str, Field(min_length=1, max_length=1000)]
UnitName = Annotated[str, Field(pattern=r"^[A-Za-z]{1,24}$")]
DateForm = Annotated[str, Field(pattern=_DATE_FORM, max_length=60)]
Cells = dict[Text, str | list[str]]
Patterns = Annotated[list[Text], Field(max_length=1000)]


def date_forms_of(*given: "Form | ColumnMapping") -> list[str]:
    """The forms of dates to be tried in order: the first of these that says any."""
    for one in given:
        if one.date_form or one.date_forms:
            return [one.date_form] if one.date_form else one.date_forms
    return []


def as_list(value: Any) -> Any:
    """One text stands for a list of one."""
    return [value] if isinstance(value, str) else value


def as_column(value: Any) -> Any:
    """The name of a source column stands for a column that is made of it."""
    return {"from": value} if isinstance(value, str | list) else value


class Model(BaseModel):
    """Frozen, without keys that it does not know."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class Form(Model):
    """How a text file is written, where detection is to be put right."""

    encoding: Literal[ENCODINGS] | None = None  # type: ignore[valid-type]
    separator: Annotated[str, Field(pattern=r'^[^"\r\n\x00]$')] | None = None
    skip_lines: Annotated[int, Field(ge=0, le=1000)] = 0
    heading_rows: Literal[1, 2] = 1
    decimal: Literal[",", "."] | None = None
    date_form: DateForm | None = None
    date_forms: Annotated[list[DateForm], Field(max_length=10)] = []


class ColumnMapping(Model):
    """One column of the contract. Give `from` (one or several source columns), `value` (a constant), or, of a visit, `rider`
    and `date`: the fit of that rider which is nearest, `at_least_days` to `within_days` before the date.

    Steps, in order: `without_zeros` takes the leading zeros of a plain number off; several columns are joined by `with`;
    `where` empties the cell unless other columns hold the values named; `strip` takes words off its ends; `pattern` takes the
    text of one of its groups, `group` where it has several; `codes` translates; decimal comma, `unit` and `flip` make the
    number; `date_form`, or the first of `date_forms` that fits, reads the date; `carry` takes an empty cell from the captures
    before; `empty` stands for an empty cell. In a log of changes, `adds` sums the changes up instead of taking the last.
    `numbered` makes the number of a capture: its place in the order of the times that `from` names.
    """

    sources: Annotated[list[Text], BeforeValidator(as_list), Field(alias="from", max_length=20)] = []
    joined_with: str = Field("-", alias="with", max_length=20)
    value: str | int | float | bool | None = None
    unit: UnitName | None = None
    flip: bool | Literal["left", "right"] = False
    codes: Annotated[dict[str, str | int | float | bool], Field(max_length=1000)] = {}
    date_form: DateForm | None = None
    date_forms: Annotated[list[DateForm], Field(max_length=10)] = []
    without_zeros: bool = False
    strip: Annotated[list[Text], BeforeValidator(as_list), Field(max_length=100)] = []
    pattern: Text | None = None
    group: Text | None = None
    decimal: Literal[",", "."] | None = None
    empty: str | int | float | bool | None = None
    adds: bool = False
    where: Cells = {}
    numbered: Literal["session", "side"] | None = None
    carry: Literal["visit", "rider"] | None = None
    rider: Annotated["ColumnMapping | None", BeforeValidator(as_column)] = None
    date: Annotated["ColumnMapping | None", BeforeValidator(as_column)] = None
    within_days: Annotated[int, Field(ge=0, le=3660)] | None = None
    at_least_days: Annotated[int, Field(ge=0, le=3660)] = 0

    @model_validator(mode="after")
    def _has_one_origin(self) -> "ColumnMapping":
        if bool(self.sources) + (self.value is not None) + (self.rider is not None) != 1:
            raise ValueError("expected either from = the source column, or value = a constant, or rider, date and within_days")
        if len({self.rider is None, self.date is None, self.within_days is None}) > 1:
            raise ValueError("expected rider, date and within_days together")
        return self

    @property
    def origins(self) -> list[str]:
        """The source columns that it is made of."""
        inner = [origin for spec in (self.rider, self.date) if spec for origin in spec.origins]
        return [*self.sources, *inner]

    @property
    def named(self) -> list[str]:
        """Every source column that it names."""
        inner = [name for spec in (self.rider, self.date) if spec for name in spec.named]
        return [*self.sources, *self.where, *inner]

    @property
    def group_no(self) -> int:
        """Which group of the pattern is taken."""
        return re.compile(self.pattern or "").groupindex.get(self.group or "", 1)


Columns = dict[str, Annotated[ColumnMapping, BeforeValidator(as_column)]]


class LogMapping(Model):
    """Changes of the setup, carried forward to the captures that follow them.

    With `files`, the log is a file of its own whose `capture_no` is the first capture that the change holds for, or whose
    `changed_at` is the time from which on it holds, told against `captured_at` in the file of captures: in the visit that it
    names, or else on the same day. Without `files`, its rows stand between the captures of the same file (told apart by
    `where`), in order of time.
    """

    files: Annotated[Patterns, BeforeValidator(as_list)] = []
    where: Cells = {}
    captured_at: Annotated[ColumnMapping | None, BeforeValidator(as_column)] = None
    changed_at: Annotated[ColumnMapping | None, BeforeValidator(as_column)] = None
    columns: Columns
    each: Annotated[list[Columns], Field(max_length=200)] = []


class TableMapping(Model):
    """One table: the files or sheets that it comes from and its columns.

    `each` gives several rows for one row of the file: every entry adds its columns to the common ones.
    """

    files: Annotated[Patterns, BeforeValidator(as_list)] = []
    sheets: Annotated[Patterns, BeforeValidator(as_list)] = []
    form: Form | None = None
    where: Cells = {}
    columns: Columns = {}
    each: Annotated[list[Columns], Field(max_length=200)] = []
    ignore: Annotated[Patterns, BeforeValidator(as_list)] = []
    log: LogMapping | None = None

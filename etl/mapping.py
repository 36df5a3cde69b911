"""The mapping of a foreign export: which file and column a table's column comes from, in which unit and sign.

A mapping is data, read from TOML, frozen, unknown keys refused with the nearest valid one. It guesses nothing: a
unit-bearing column that is renamed must state its unit.
"""

import fnmatch
import re
import unicodedata
from collections.abc import Iterator
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationError, model_validator

from shared.catalogue import Table, catalogue
from shared.errors import UsageError
from shared.toml_file import fault_sentences, first_of, nearest, parse_toml, read_bounded, shortened
from shared.units import UNITS, conversion_factor
from shared.warehouse import takes_pattern

MAPPING_FILE = "mapping.toml"
ENCODINGS = (
    "utf-8", "utf-16", "utf-16-le", "utf-16-be", "windows-1252", "windows-1250", "windows-1251", "iso-8859-1",
    "iso-8859-15", "mac-roman",
)  # fmt: skip
# Directives that DuckDB's strptime and Python's share.
_DATE_FORM = r"^(?:[^%\x00]|%-?[dmyHMSIj]|%[YpbBaAfz%])+$"

# What a file's place tells, to be named like a column of it: the whole path, the file's own name without its ending, the name
# of the folder (or archive) that it lies in, and the sheet.
PLACES = ("@path", "@file", "@folder", "@sheet")

# What the warehouse's patterns do not know, so that none of them can take long.
_BEYOND = re.compile(r"\(\?(?:[=!>(#]|<[=!]|P=)|\\[1-9Z]|[*+?}]\+")

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


def _as_list(value: Any) -> Any:
    return [value] if isinstance(value, str) else value


def _as_column(value: Any) -> Any:
    return {"from": value} if isinstance(value, str | list) else value


class _Model(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Form(_Model):
    """How a text file is written, where detection is to be put right."""

    encoding: Literal[ENCODINGS] | None = None  # type: ignore[valid-type]
    separator: Annotated[str, Field(pattern=r'^[^"\r\n\x00]$')] | None = None
    skip_lines: Annotated[int, Field(ge=0, le=1000)] = 0
    heading_rows: Literal[1, 2] = 1
    decimal: Literal[",", "."] | None = None
    date_form: DateForm | None = None
    date_forms: Annotated[list[DateForm], Field(max_length=10)] = []


class ColumnMapping(_Model):
    """One column of the contract. Give `from` (one or several source columns), `value` (a constant), or, of a visit, `rider`
    and `date`: the fit of that rider which is nearest, `at_least_days` to `within_days` before the date.

    Steps, in order: `without_zeros` takes the leading zeros of a plain number off; several columns are joined by `with`;
    `where` empties the cell unless other columns hold the values named; `strip` takes words off its ends; `pattern` takes the
    text of one of its groups, `group` where it has several; `codes` translates; decimal comma, `unit` and `flip` make the
    number; `date_form`, or the first of `date_forms` that fits, reads the date; `carry` takes an empty cell from the captures
    before; `empty` stands for an empty cell. In a log of changes, `adds` sums the changes up instead of taking the last.
    `numbered` makes the number of a capture: its place in the order of the times that `from` names.
    """

    sources: Annotated[list[Text], BeforeValidator(_as_list), Field(alias="from", max_length=20)] = []
    joined_with: str = Field("-", alias="with", max_length=20)
    value: str | int | float | bool | None = None
    unit: UnitName | None = None
    flip: bool | Literal["left", "right"] = False
    codes: Annotated[dict[str, str | int | float | bool], Field(max_length=1000)] = {}
    date_form: DateForm | None = None
    date_forms: Annotated[list[DateForm], Field(max_length=10)] = []
    without_zeros: bool = False
    strip: Annotated[list[Text], BeforeValidator(_as_list), Field(max_length=100)] = []
    pattern: Text | None = None
    group: Text | None = None
    decimal: Literal[",", "."] | None = None
    empty: str | int | float | bool | None = None
    adds: bool = False
    where: Cells = {}
    numbered: Literal["session", "side"] | None = None
    carry: Literal["visit", "rider"] | None = None
    rider: Annotated["ColumnMapping | None", BeforeValidator(_as_column)] = None
    date: Annotated["ColumnMapping | None", BeforeValidator(_as_column)] = None
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


Columns = dict[str, Annotated[ColumnMapping, BeforeValidator(_as_column)]]


class LogMapping(_Model):
    """Changes of the setup, carried forward to the captures that follow them.

    With `files`, the log is a file of its own whose `capture_no` is the first capture that the change holds for, or whose
    `changed_at` is the time from which on it holds, told against `captured_at` in the file of captures: in the visit that it
    names, or else on the same day. Without `files`, its rows stand between the captures of the same file (told apart by
    `where`), in order of time.
    """

    files: Annotated[Patterns, BeforeValidator(_as_list)] = []
    where: Cells = {}
    captured_at: Annotated[ColumnMapping | None, BeforeValidator(_as_column)] = None
    changed_at: Annotated[ColumnMapping | None, BeforeValidator(_as_column)] = None
    columns: Columns
    each: Annotated[list[Columns], Field(max_length=200)] = []


class TableMapping(_Model):
    """One table: the files or sheets that it comes from and its columns.

    `each` gives several rows for one row of the file: every entry adds its columns to the common ones.
    """

    files: Annotated[Patterns, BeforeValidator(_as_list)] = []
    sheets: Annotated[Patterns, BeforeValidator(_as_list)] = []
    form: Form | None = None
    where: Cells = {}
    columns: Columns = {}
    each: Annotated[list[Columns], Field(max_length=200)] = []
    ignore: Annotated[Patterns, BeforeValidator(_as_list)] = []
    log: LogMapping | None = None


class Mapping(_Model):
    """A whole mapping file. `name` is the file's own name, as the load report tells it; `text` what it was read from.

    `confirmed`: what a check asked about and is right as it is, each by its key, with who looked and why.
    """

    name: str = Field(MAPPING_FILE, exclude=True)
    text: bytes = Field(b"", exclude=True, repr=False)
    about: str = ""
    form: Form = Form()
    ignore_files: Annotated[Patterns, BeforeValidator(_as_list)] = []
    confirmed: Annotated[dict[Text, str], Field(max_length=1000)] = {}
    tables: dict[str, TableMapping] = {}

    @property
    def reading_text(self) -> str:
        """The text without what is confirmed, which may name riders and says nothing of how a file is read."""
        kept, is_confirmed = [], False
        for line in self.text.decode("utf-8-sig").splitlines(keepends=True):
            start = line.lstrip()
            if start.startswith("["):
                is_confirmed = re.match(r"""\[\s*["']?confirmed["']?\s*\]""", start) is not None
            kept += [] if is_confirmed or re.match(r"""["']?confirmed["']?\s*[.=]""", start) else [line]
        return "".join(kept)

    def form_of(self, table: TableMapping | None) -> Form:
        """The form of a table's files: its own keys before the common ones."""
        own = table.form.model_dump(exclude_unset=True) if table and table.form else {}
        return Form(**{**self.form.model_dump(), **own})

    def is_ignored(self, name: str) -> bool:
        """Whether the mapping leaves a file or sheet of this name out on purpose."""
        return is_named(name, self.ignore_files)


def is_named(name: str, patterns: list[str]) -> bool:
    """Whether a file's own name (without its folders) is one of the patterns or fits it, in any case and form of letters."""
    own = _plain(name.rpartition("/")[2])
    return any(own == pattern or fnmatch.fnmatchcase(own, pattern) for pattern in map(_plain, patterns))


def _plain(name: str) -> str:
    # Some systems write an accented letter as one sign, some as two.
    return unicodedata.normalize("NFC", name).lower()


def load_mapping(path: Path, name: str = "") -> Mapping:
    """The mapping in a TOML file, told under `name` where the file lies under another one than its own.

    Raises UsageError naming the file, every wrong key with the nearest valid one, and every wrong value.
    """
    return parse_mapping(read_bounded(path, f"Mapping {name or path}"), name or path.name)


def parse_mapping(text: bytes, name: str) -> Mapping:
    """The mapping written in `text`; `name` is told in messages and in the load report."""
    content = parse_toml(text, f"Mapping {name}")
    try:
        mapping = Mapping.model_validate(content).model_copy(update={"name": name, "text": text})
    except ValidationError as fault:
        raise UsageError(f"Mapping {name}: {fault_sentences(fault, _unknown_key)}") from fault
    if faults := first_of(_faults(mapping)):
        raise UsageError(f"Mapping {name}: {faults}")
    return mapping


def _unknown_key(place: list[str]) -> str:
    return f"{'.'.join(place)} is no key of a mapping; {_nearest(place[-1], _valid_keys(place[:-1]))}."


def _valid_keys(place: list[str]) -> list[str]:
    """The keys that may stand at a place of the file."""
    if not place:
        model: type[BaseModel] = Mapping
    elif {"columns", "each", "captured_at", "changed_at"} & set(place):
        model = ColumnMapping
    elif place[-1] == "form":
        model = Form
    elif place[-1] == "log":
        model = LogMapping
    else:
        model = TableMapping
    return [field.alias or name for name, field in model.model_fields.items() if not field.exclude]


def _nearest(wrong: str, valid: list[str]) -> str:
    near = nearest(wrong, valid)
    return f"the nearest one is {near}" if near else "none may stand here"


def _faults(mapping: Mapping) -> Iterator[str]:
    """What the catalogue says against the mapping: tables, columns and units."""
    for name, mapped in mapping.tables.items():
        if name not in catalogue():
            yield f"tables.{shortened(name)} is no table of the contract; {_nearest(name, list(catalogue()))}."
            continue
        table = catalogue()[name]
        places = [("", mapped.columns, mapped.each)]
        if mapped.log:
            places.append((".log", mapped.log.columns, mapped.log.each))
            if "capture_no" not in table.key:
                yield f"tables.{name}.log: only a table with capture_no can be made from a log of changes."
            yield from _log_faults(f"tables.{name}.log", mapped.log)
        for part, common, each in places:
            groups = [(f"{part}.columns", common), *((f"{part}.each.{no}", one) for no, one in enumerate(each, 1))]
            for place, columns in groups:
                for column, spec in columns.items():
                    yield from _column_faults(table, f"tables.{name}{place}.{shortened(column)}", column, spec)


def _log_faults(place: str, log: LogMapping) -> Iterator[str]:
    if (log.captured_at is None) != (log.changed_at is None):
        yield f"{place}: captured_at and changed_at go together: the time of a capture, and that of a change. Give both."
    elif log.changed_at and not log.files:
        yield f"{place}: times tell a log apart that is a file of its own. Give files, or leave captured_at and changed_at out."
    elif log.changed_at and any("capture_no" in columns for columns in (log.columns, *log.each)):
        yield f"{place}: a change holds from a time or from a capture on, not both. Leave capture_no or the times out."


def _column_faults(table: Table, place: str, name: str, spec: ColumnMapping) -> list[str]:
    if name not in table.column_names:
        return [f"{place} is no column of {table.name}; {_nearest(name, list(table.column_names))}."]
    column = table.column(name)
    faults = []
    if column.unit in UNITS and spec.sources and spec.sources != [name] and spec.unit is None:
        faults.append(f"{place}: no unit is given, and none is guessed. Write {unit_line(name, spec.sources[0], column.unit)}.")
    if spec.unit is not None:
        if column.unit not in UNITS:
            faults.append(f"{place}: {name} bears no unit. Leave unit = {spec.unit!r} out.")
        elif spec.value is not None:
            faults.append(f"{place}: a constant is written in {column.unit}. Leave unit = {spec.unit!r} out.")
        else:
            faults += _unit_faults(place, spec.unit, UNITS[column.unit].pint_name)
    if spec.flip is not False and column.type not in {"number", "integer"}:
        faults.append(f"{place}: {name} is no number, so its sign cannot be flipped. Leave flip out.")
    if spec.flip in {"left", "right"} and "side" not in table.column_names:
        faults.append(f"{place}: {table.name} has no side. Write flip = true or false.")
    if spec.adds and (column.type not in {"number", "integer"} or ".log." not in place):
        faults.append(f"{place}: adds sums up the changes of a number in a log. Leave adds out.")
    if (spec.date_form or spec.date_forms) and column.type not in {"date", "datetime"} and not spec.numbered:
        faults.append(f"{place}: {name} is no date. Leave date_form out.")
    return [*faults, *_other_row_faults(table, place, name, spec), *_text_faults(place, spec)]


def _other_row_faults(table: Table, place: str, name: str, spec: ColumnMapping) -> Iterator[str]:
    """What is wrong with what is taken from other rows."""
    if spec.numbered and (name != "capture_no" or ".log." in place or not spec.sources):
        yield f"{place}: numbered gives captures their numbers by the order of a time. Only capture_no of a table takes it."
    if spec.rider and not any(key.column == name and key.table == "fit_sessions" for key in table.foreign_keys):
        yield f"{place}: by rider and date a visit is found. Only a column that names a visit takes it."
    if spec.rider and spec.at_least_days > (spec.within_days or 0):
        yield f"{place}: at_least_days is more than within_days, so that no fit could be found. Correct one of them."
    if spec.carry and (table.name != "foot_setups" or name in table.key):
        yield f"{place}: only the setup of a foot is carried over, and nothing that was measured. Leave carry out."
    for inner, given in (("rider", spec.rider), ("date", spec.date)):
        yield from _text_faults(f"{place}.{inner}", given) if given else ()
    if spec.carry and spec.adds:
        yield f"{place}: changes that are summed up begin at what empty says. Leave carry or adds out."


def _text_faults(place: str, spec: ColumnMapping) -> Iterator[str]:
    """What is wrong with what a text is taken apart by."""
    for word in spec.strip:
        if re.search(r"[\d+\-−]", word):
            yield f"{place}: strip takes words and units off, and {word!r} could be part of a number. Leave it out."
    if spec.pattern is None:
        if spec.group:
            yield f"{place}: group is one of a pattern. Give pattern, or leave group out."
        return
    try:
        groups = re.compile(spec.pattern)
    except re.error as fault:
        yield f"{place}: {spec.pattern!r} is no regular expression ({fault}). Correct it."
        return
    if _BEYOND.search(spec.pattern):
        yield f"{place}: a pattern may not look ahead, behind or back at its own groups. Write it without."
    elif spec.group and spec.group not in groups.groupindex:
        named = ", ".join(groups.groupindex) or "none"
        yield f"{place}: the pattern has no group named {spec.group!r}; its named groups: {named}."
    elif not spec.group and groups.groups != 1:
        yield f"{place}: the pattern has {groups.groups} groups. Write one as (?P<name>…), and name it in group."
    elif not takes_pattern(spec.pattern):
        yield f"{place}: the warehouse cannot search with {shortened(spec.pattern)}. Write a simpler pattern."


def unit_line(column: str, source: str, unit: str) -> str:
    """The line of a mapping that states a column's unit."""
    return f'{column} = {{ from = "{source}", unit = "{unit}" }}, with the unit that the file is in'


def _unit_faults(place: str, unit: str, target: str) -> list[str]:
    try:
        factor = conversion_factor(unit, target)
    except UsageError as fault:
        return [f"{place}: {fault}"]
    return [] if factor > 0 else [f"{place}: unit {unit!r} cannot be turned into {target!r}."]

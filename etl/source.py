"""What reading passes on: a file that was found, a file that can be read, and the refusal of one file."""

import hashlib
import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass, field
from pathlib import Path

from etl.mapping import Form, Mapping, TableMapping
from shared.catalogue import Table
from shared.errors import InputUnusableError
from shared.settings_running import Reading

_DETECTED = Form()  # nothing is said of a file's form


class RefusedFileError(InputUnusableError):
    """One file cannot be used; the others go on."""


def require_rows(name: str, n_rows: int, reading: Reading) -> None:
    """Raises RefusedFileError where a file holds, or tells of, more rows than a studio's settings admit."""
    if n_rows > reading.most_rows_per_file:
        raise RefusedFileError(
            f"{name}: tells of {n_rows:,} rows, expected {reading.most_rows_per_file:,} at most. Nothing of this file was "
            "loaded. Export it in parts, or raise [reading] most_rows_per_file in the settings."
        )


def require_bytes(name: str, n_bytes: int, reading: Reading) -> None:
    """Raises RefusedFileError where a file is larger than a studio's settings admit."""
    if n_bytes > reading.most_bytes_per_file:
        raise RefusedFileError(
            f"{name}: larger than {reading.most_mb_per_file:,} MB. Nothing of this file was loaded. Export it in parts, or "
            "raise [reading] most_mb_per_file in the settings."
        )


@dataclass
class Extent:
    """How far one sheet reaches, and whether a formula in it has no value."""

    rows: int = 0
    columns: int = 0
    is_hollow: bool = False


@dataclass(frozen=True)
class Workbook:
    """A cleaned workbook: its copy, its name, the names of its sheets, and the extent of each."""

    path: Path
    name: str
    sheets: tuple[str, ...]
    extents: dict[str, Extent] = field(default_factory=dict)


@dataclass(frozen=True)
class FoundFile:
    """What one source is read from, before it is opened: a file, or one sheet or one mapped table of it.

    `path` is the file on disk, `unpacked` what was taken out of it where it is an archive. `sheet` is the sheet of a
    workbook. `refusal` is the sentence that refuses it unopened. `log` is the file of setup changes that the mapping
    names for it.
    """

    path: Path
    name: str
    unpacked: Path | None = None
    workbook: Workbook | None = None
    sheet: str = ""
    refusal: str = ""
    table: Table | None = None
    mapping: Mapping | None = None
    table_mapping: TableMapping | None = None
    log: "FoundFile | None" = None
    reading: Reading = field(default_factory=Reading)
    # Set where a hook gave its rows, as UTF-8 CSV: how the hook is told, and the form that the cells had before.
    hook: str = ""
    cell_form: str = ""

    @property
    def content(self) -> Path:
        """The file that holds the rows."""
        return self.unpacked or self.path

    @property
    def text_form(self) -> Form:
        """What the mapping says about encoding and separator."""
        if self.hook:
            return Form(encoding="utf-8", separator=",")
        if self.mapping is None:
            return _DETECTED
        return self.mapping.form_of(self.table_mapping)


@dataclass(frozen=True)
class Layout:
    """How the rows of a mapped file are read: its form and columns, those of its log, and the text of the mapping."""

    table: str
    form: str
    headers: tuple[str, ...]
    mapping_name: str
    mapping: str
    log_form: str = ""
    log_headers: tuple[str, ...] = ()

    @property
    def key(self) -> str:
        """Twelve signs that stand for the layout."""
        return hashlib.sha256(json.dumps(asdict(self), ensure_ascii=False).encode()).hexdigest()[:12]


@dataclass(frozen=True)
class Mended:
    """What a file to mend holds beside the columns of its source: where the numbers of its rejects stand, and the key of the
    layout that its rows are read by, which is empty for rows in contract form."""

    reject_cell: int
    layout: str = ""


@dataclass(frozen=True)
class SourceFile:
    """A file that can be read: `cells` maps each catalogue column to the file's own column by position.

    `readable_path` is what the set-based reader opens: the file itself, or a copy as plain UTF-8 CSV. `lines` holds
    the file's own line (or row of the sheet) of each record where it cannot be found in that copy.
    """

    path: Path
    name: str
    table: Table
    form: str
    headers: tuple[str, ...]
    cells: dict[str, int]
    unknown: tuple[str, ...]
    readable_path: Path
    encoding: str = ""
    separator: str = ","
    lines: Sequence[int] | None = None
    skip_lines: int = 0
    mapping: Mapping | None = None
    table_mapping: TableMapping | None = None
    log: "SourceFile | None" = None
    idle_changes: str = ""
    reading: Reading = field(default_factory=Reading)
    # Set for a file to mend; its layout, and the form that its cells had where they came from.
    mended: Mended | None = None
    layout: Layout | None = None
    cell_form: str = ""
    # Set where the rows of many files stand in one, without headings, each after the number of its file, from 0 on.
    is_joined: bool = False
    # What the place of each of them tells, of one file alone or of all that are read as one.
    places: tuple[dict[str, str], ...] = ()
    # Which of it the mapping takes.
    used_places: tuple[str, ...] = ()
    # What the loader makes of other rows; with which files this one is looked through for it (see derived.py).
    made: tuple[str, ...] = ()
    hook: str = ""
    scope: str = ""

    @property
    def _date_forms(self) -> list[list[str]]:
        """The forms of dates of which one after the other is tried."""
        if self.mapping is None or self.table_mapping is None:
            return []
        groups = [self.table_mapping.columns, *self.table_mapping.each]
        tried = [spec.date_forms for columns in groups for spec in columns.values() if not spec.date_form]
        tried.append(self.mapping.form_of(self.table_mapping).date_forms)
        return [list(forms) for forms in dict.fromkeys(tuple(forms) for forms in tried) if len(forms) > 1]

    @property
    def has_text_numbers(self) -> bool:
        """Whether its numbers were written as text by somebody, in which a point may part thousands."""
        return (self.cell_form or self.form) == ".csv"

    @property
    def detected(self) -> str:
        """What was detected, as the load report tells it."""
        words = {".parquet": "Parquet", ".xlsx": "XLSX", ".jsonl": "JSON lines"}.get(self.form)
        if words is None:
            separator = "tab" if self.separator == "\t" else self.separator
            words = f"encoding: {self.encoding}, separator '{separator}'"
        if self.mapping and self.table_mapping:
            words += f"; mapping: {self.mapping.name}"
            words += "".join(f"; dates tried as {', then '.join(forms)}" for forms in self._date_forms)
        if self.hook:
            words += f"; {self.hook}, whose rows are counted"
        if self.idle_changes:
            words += f"; {self.idle_changes}"
        return words

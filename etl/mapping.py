"""The mapping of a foreign export: which file and column a table's column comes from, in which unit and sign.

A mapping is data, read from TOML, frozen, unknown keys refused with the nearest valid one. It guesses nothing: a
unit-bearing column that is renamed must state its unit.
"""

import fnmatch
import re
import unicodedata
from functools import lru_cache
from pathlib import Path
from typing import Annotated

from pydantic import BaseModel, BeforeValidator, Field, ValidationError

from etl.mapping_faults import faults_of, nearest_words, unit_line
from etl.mapping_keys import (
    PLACES,
    Cells,
    ColumnMapping,
    Columns,
    Form,
    LogMapping,
    Model,
    Patterns,
    TableMapping,
    Text,
    as_list,
    date_forms_of,
)
from etl.mapping_short import FROM_VISITS, SIDES, written_out
from shared.errors import UsageError
from shared.toml_file import fault_sentences, first_of, parse_toml, read_bounded

__all__ = [
    "MAPPING_FILE", "PLACES", "Cells", "ColumnMapping", "Columns", "Form", "LogMapping", "Mapping", "TableMapping",
    "date_forms_of", "is_named", "load_mapping", "parse_mapping", "unit_line",
]  # fmt: skip
MAPPING_FILE = "mapping.toml"


class Mapping(Model):
    """A whole mapping file. `name` is the file's own name, as the load report tells it; `text` what it was read from.

    `confirmed`: what a check asked about and is right as it is, each by its key, with who looked and why. `words`: headings and
    texts that fitledger knows need no line of their own (see known_words.py); a unit, a sign or a side always has its line.
    """

    name: str = Field(MAPPING_FILE, exclude=True)
    text: bytes = Field(b"", exclude=True, repr=False)
    about: str = ""
    words: bool = False
    form: Form = Form()
    # pydantic copies what may change for each mapping; its oldest allowed version knows no factory beside limits of a type.
    ignore_files: Annotated[Patterns, BeforeValidator(as_list)] = []  # noqa: RUF012
    confirmed: Annotated[dict[Text, str], Field(max_length=1000)] = {}  # noqa: RUF012
    tables: dict[str, TableMapping] = {}  # noqa: RUF012

    @property
    def reading_text(self) -> str:
        """The text without what is confirmed, which may name riders and says nothing of how a file is read."""
        return _without_confirmed(self.text)

    def form_of(self, table: TableMapping | None) -> Form:
        """The form of a table's files: its own keys before the common ones."""
        own = table.form.model_dump(exclude_unset=True) if table and table.form else {}
        return Form(**{**self.form.model_dump(), **own}) if own else self.form

    def is_ignored(self, name: str) -> bool:
        """Whether the mapping leaves a file or sheet of this name out on purpose."""
        return is_named(name, self.ignore_files)


@lru_cache(maxsize=100)
def _without_confirmed(text: bytes) -> str:
    kept, is_confirmed = [], False
    for line in text.decode("utf-8-sig").splitlines(keepends=True):
        start = line.lstrip()
        if start.startswith("["):
            is_confirmed = re.match(r"""\[\s*["']?confirmed["']?\s*\]""", start) is not None
        kept += [] if is_confirmed or re.match(r"""["']?confirmed["']?\s*[.=]""", start) else [line]
    return "".join(kept)


def is_named(name: str, patterns: list[str]) -> bool:
    """Whether a file's own name (without its folders) is one of the patterns or fits it, in any case and form of letters."""
    own = _plain(name.rpartition("/")[2])
    return any(own == pattern or fnmatch.fnmatchcase(own, pattern) for pattern in map(_plain, patterns))


@lru_cache(maxsize=10_000)
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
    content = written_out(parse_toml(text, f"Mapping {name}"), name)
    try:
        mapping = Mapping.model_validate(content).model_copy(update={"name": name, "text": text})
    except ValidationError as fault:
        raise UsageError(f"Mapping {name}: {fault_sentences(fault, _unknown_key)}") from fault
    if faults := first_of(faults_of(mapping.tables)):
        raise UsageError(f"Mapping {name}: {faults}")
    return mapping


def _unknown_key(place: list[str]) -> str:
    return f"{'.'.join(place)} is no key of a mapping; {nearest_words(place[-1], _valid_keys(place[:-1]))}."


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
    short = [FROM_VISITS] if model is Mapping else [*SIDES] if model is ColumnMapping else []
    return [field.alias or name for name, field in model.model_fields.items() if not field.exclude] + short

"""Headings and texts that fitledger knows (words.toml), read without a line by a mapping that says `words`.

Only a heading or text that is exactly a known word is taken, in any case and accent of letters. What has a unit or a sign, and
the side, always has its line: a word tells neither.
"""

from collections.abc import Callable
from dataclasses import replace
from functools import lru_cache
from typing import Final

from etl.mapping import ColumnMapping, TableMapping
from etl.source import RefusedFileError, SourceFile
from etl.words import plain, vocabulary
from shared.catalogue import Column, Table, catalogue

# What `plain` makes of a text, in a statement; words are not parted at a capital within them.
_PLAIN_SQL: Final = "trim(regexp_replace(strip_accents(replace(lower({text}), 'ß', 'ss')), '[^a-z0-9]+', ' ', 'g'))"
# What stands for nothing recorded in many exports, and is a word of some language as well ("na" is "after" in Dutch).
_NOTHING: Final = frozenset({"", "na", "n a", "nan", "null"})


def needs_a_line(column: Column) -> bool:
    """Whether a word alone never tells a column: it has a unit or a sign, or is the side."""
    return bool(column.unit or column.sign) or column.name == "side"


def known_headings(table: Table, headers: tuple[str, ...], named: frozenset[str] = frozenset()) -> dict[str, list[str]]:
    """By column of a table the headings that are a word for it and for no other of its columns; nothing for those `named`."""
    found: dict[str, list[str]] = {}
    for header in headers:
        own = plain(header)
        columns = [column.name for column in table.columns if not needs_a_line(column) and own in _words_of(column.name)]
        if len(columns) == 1 and columns[0] not in named:
            found.setdefault(columns[0], []).append(header)
    return found


@lru_cache(maxsize=200)
def known_codes(name: str) -> dict[str, str]:
    """What the known texts of a column mean, by their plain letters; a text of two meanings means nothing."""
    meant: dict[str, set[str]] = {}
    for code, words in vocabulary()["codes"].get(name, {}).items():
        for word in (code, *words):
            meant.setdefault(plain(word), set()).add(str(code))
    return {word: next(iter(codes)) for word, codes in meant.items() if word not in _NOTHING and len(codes) == 1}


def meant_by(name: str, text: str) -> str | None:
    """What the loader takes a text of a column for by the known words."""
    return known_codes(name).get(plain(text.lower()))


def codes_sql(name: str, text: str, bind: Callable[[str], str]) -> str:
    """SQL of a text of a column, or of the code that it is a known word for; `bind` takes a value of the statement."""
    cases = " ".join(f"WHEN {bind(word)} THEN {bind(code)}" for word, code in known_codes(name).items())
    return f"(CASE {_PLAIN_SQL.format(text=text)} {cases} ELSE {text} END)" if cases else text


def with_known_words(source: SourceFile) -> SourceFile:
    """A source whose mapping takes known headings, with a line for each that its file has.

    Raises RefusedFileError where two headings of a file are words for one column.
    """
    mapped = source.table_mapping
    if mapped is None or source.mapping is None or not source.mapping.words:
        return source
    # Files alike share one mapping, so that they are read together.
    said = mapped.model_dump_json(by_alias=True, exclude_defaults=True)
    filled, twice = _filled_in(said, source.headers, source.table.name)
    if twice:
        column, headings = twice
        raise RefusedFileError(
            f"{source.name}: {' and '.join(map(repr, headings))} are both words for {column}. Nothing of this file was loaded. "
            f"Name one of them in the mapping, as {column} under [tables.{source.table.name}], or leave one out with ignore."
        )
    return replace(source, table_mapping=filled)


@lru_cache(maxsize=100)
def _filled_in(said: str, headers: tuple[str, ...], table_name: str) -> tuple[TableMapping, tuple[str, list[str]] | None]:
    table, mapped = catalogue()[table_name], TableMapping.model_validate_json(said)
    own = [mapped.columns, *mapped.each]
    of_log = [mapped.log.columns, *mapped.log.each] if mapped.log else []
    # The keys of a log are those of its changes; what it tells beside them the captures take from it.
    of_changes = {name for columns in of_log for name in columns if name not in table.key}
    named = frozenset(name for columns in own for name in columns) | of_changes
    groups = own if mapped.log and mapped.log.files else own + of_log
    # Part of a key, or a rider or date by which a visit is found, may be a column of its own as well.
    alone = [spec.sources[0] for columns in groups for spec in columns.values() if len(spec.sources) == 1]
    taken = {name.strip().lower() for name in alone}
    left = {header.lower() for header in (headers if "*" in mapped.ignore else mapped.ignore)} | taken
    found = known_headings(table, tuple(header for header in headers if header.lower() not in left), named)
    for column, headings in found.items():
        # The contract's own name stands before every other word for it.
        found[column] = [heading for heading in headings if heading.strip().lower() == column] or headings
    twice = next(((column, headings) for column, headings in found.items() if len(headings) > 1), None)
    lines = {column: ColumnMapping.model_validate({"from": headings[0]}) for column, headings in found.items()}
    return mapped.model_copy(update={"columns": {**mapped.columns, **lines}}), twice


@lru_cache(maxsize=200)
def _words_of(name: str) -> frozenset[str]:
    return frozenset(map(plain, (name.replace("_", " "), *vocabulary()["columns"].get(name, ()))))

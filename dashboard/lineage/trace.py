"""Where one figure, or all of a question, comes from: what ran for its answer, the tables behind it, their loads and files."""

import difflib
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any, Final

from dashboard.lineage.tables import made_from, named, tables_read, with_inputs
from dashboard.questions.door.asking import Asker
from dashboard.questions.door.registry import question_named
from dashboard.questions.selection.answers import Answer
from dashboard.questions.selection.selection import Selection
from shared.errors import NoMemoryError, StatisticsError, UsageError
from shared.ran import Ran, noting

SQL: Final = Path(__file__).with_name("sql")
# A row with one of these tells of single riders, and is no figure.
_OF_CASES: Final = frozenset({"rider_id", "session_id", "received", "value"})
# What every question asks: which fits are selected, what is recorded, how old the data are.
_OF_EVERY_QUESTION: Final = ("dashboard/questions/selection/", "shared/newest_row.sql")
_WORDS_TOLD: Final = 3
_NEAR: Final = 5


@dataclass(frozen=True)
class Source:
    """A named SQL file that ran for the answer, and the tables that it reads. `of_every_question`: it only finds which fits are
    selected and what is recorded of them."""

    file: str
    tables: tuple[str, ...]
    of_every_question: bool


@dataclass(frozen=True)
class MadeTable:
    """A table, the tables that it is made from, and the SQL file that makes it; a raw one is made by loads alone."""

    table: str
    made_from: tuple[str, ...]
    made_by: str


@dataclass(frozen=True)
class LoadedFile:
    """A file from which a load that stands brought rows of a table."""

    table: str
    load_id: int
    loaded_at: str
    file_no: int
    file: str
    stored: int
    replaced: int


@dataclass(frozen=True)
class Lineage:
    """What `asked` (a question, or a figure of it) comes from, over all fits. `told`: its sentences, or why there is none."""

    asked: str
    question: str
    module: str
    leans_on: tuple[str, ...]
    told: tuple[str, ...]
    sources: tuple[Source, ...]
    tables: tuple[MadeTable, ...]
    files: tuple[LoadedFile, ...]


def trace(asker: Asker, asked: str) -> Lineage:
    """Where a question, or one figure of it as question.word.word (effects.shim.tilt), comes from.

    Raises UsageError where there is no such question or figure.
    """
    name, *words = asked.split(".")
    question = question_named(name)
    told: tuple[str, ...]
    with noting() as ran:
        try:
            told = _told(asker.ask(name, Selection()), asked, words)
        except (StatisticsError, NoMemoryError) as refusal:
            told = (str(refusal),)
    sources = tuple(_sources(ran))
    tables = tuple(_tables(sources))
    rows = asker.look_up(lambda warehouse: warehouse.rows(SQL / "files_of_tables.sql"))
    raw = {one.table for one in tables}
    return Lineage(
        asked,
        name,
        f"dashboard/questions/{question.module.replace('.', '/')}.py",
        question.leans_on,
        told,
        sources,
        tables,
        tuple(LoadedFile(**row) for row in rows if f"raw.{row['table']}" in raw),
    )


def own_sources(ran: Iterable[Ran]) -> dict[str, set[str]]:
    """The files that ran for a question itself, with the texts that ran."""
    texts: dict[str, set[str]] = {}
    for file, text in ran:
        if not named(file).startswith(_OF_EVERY_QUESTION):
            texts.setdefault(named(file), set()).add(text)
    return texts


def _sources(ran: Iterable[Ran]) -> Iterator[Source]:
    """The files that ran, those of the question itself first."""
    texts: dict[str, set[str]] = {}
    for file, text in ran:
        texts.setdefault(named(file), set()).update(tables_read(text))
    made = [Source(file, tuple(sorted(tables)), file.startswith(_OF_EVERY_QUESTION)) for file, tables in texts.items()]
    return iter(sorted(made, key=lambda source: (source.of_every_question, source.file)))


def _tables(sources: Sequence[Source]) -> Iterator[MadeTable]:
    """The tables behind the question's own files, and what these are made from; behind all, where it has none of its own."""
    own = [source for source in sources if not source.of_every_question] or sources
    for table, inputs in with_inputs(table for source in own for table in source.tables).items():
        yield MadeTable(table, tuple(sorted(inputs)), made_from().get(table, (frozenset(), ""))[1])


def _told(answer: Answer, asked: str, words: Sequence[str]) -> tuple[str, ...]:
    """The sentences of the rows that a figure's words name. Raises UsageError where they name none."""
    if not words:
        return (str(getattr(answer, "headline", "")),)
    by_words = [(row, _words(row)) for row in _figures(answer)]
    named_so = [row for row, known in by_words if known.issuperset(words)]
    if not named_so:
        known = sorted(frozenset().union(*(of_row for _, of_row in by_words)))
        missing = [word for word in words if word not in known] or words
        near = [one for word in missing for one in difflib.get_close_matches(word, known, _NEAR, 0.0)]
        raise UsageError(
            f"{asked}: nothing that {asked.split('.', maxsplit=1)[0]} tells is named {' and '.join(missing)}; the nearest "
            f"words are {', '.join(near) or 'none'}."
        )
    said = [str(row.words) for row in named_so if getattr(row, "words", "")]
    return tuple(dict.fromkeys(said))[:_WORDS_TOLD]


def _figures(answer: Answer) -> Iterator[Any]:
    """The rows of an answer but those that tell of single riders."""
    for name, row in type(answer).lists().items():
        if _OF_CASES.isdisjoint(field.name for field in fields(row)):
            yield from getattr(answer, name)


def _words(row: Any) -> frozenset[str]:
    """The words by which a row can be named: its short texts."""
    values = (getattr(row, field.name) for field in fields(row))
    return frozenset(value for value in values if isinstance(value, str) and value and " " not in value)

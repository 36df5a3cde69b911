"""What keeps the logbook beside the warehouse: copies of it, taking a rider's fits out of it, the proof, and how it is."""

import sqlite3
from collections.abc import Collection, Iterator
from contextlib import closing
from pathlib import Path
from typing import Final, Literal

from etl.keeping.spelling import Speller
from shared.errors import LogbookError
from shared.files import OWNER_ONLY
from shared.logbook.entries import OF_FITS
from shared.logbook.store import LOGBOOK_VERSION, Logbook
from shared.statistics.wording import counted

# A column that holds the id of a fit and nothing else; it is emptied, since two fits of a rider may stand in one comparison.
_FIT: Final = "session_id"
# Words of the program's own, in which no id can stand.
_CODES: Final = frozenset({"entry_id", "sort", "kind", "state"})


def copy_logbook(warehouse: Path, copy: Path) -> None:
    """Copies the logbook of a warehouse, as it is at one moment, to that of the copy; does nothing where there is none.

    Raises LogbookError where it cannot be read.
    """
    source = Logbook(warehouse)
    if not source.file.exists():
        return
    target = Logbook(copy).file
    with source.reading() as book, closing(sqlite3.connect(target)) as written:
        book.backup(written)
    target.chmod(OWNER_ONLY)


def is_readable(warehouse: Path) -> bool:
    """Whether the logbook of a warehouse is there and whole."""
    book = Logbook(warehouse)
    try:
        return book.file.exists() and not book.faults()
    except LogbookError:
        return False


def forget_in_logbook(warehouse: Path, speller: Speller) -> None:
    """Takes a forgotten rider's fits out of the logbook of the warehouse, and writes it afresh. What was drawn stays, without
    the fit that it was drawn for; calls and tasks about the rider's fits go, and other texts no longer name them. Raises
    LogbookError where it cannot."""
    logbook = Logbook(warehouse)
    if not logbook.file.exists():
        return
    with logbook.writing() as book:
        for entry_id, fit in _of_fits(book):
            if speller.is_one(fit):
                book.execute("DELETE FROM events WHERE entry_id = ?", (entry_id,))
                book.execute("DELETE FROM entries WHERE entry_id = ?", (entry_id,))
        for table, column, row, text in list(_texts(book)):
            changed = "" if column == _FIT and speller.is_one(text) else speller.without(text, lambda _: False)
            if changed != text:
                book.execute(f'UPDATE "{table}" SET "{column}" = ? WHERE rowid = ?', (changed, row))
    logbook.write_afresh()


def forget_fits(warehouse: Path, sessions: Collection[str]) -> None:
    """The same for the fits that a mark knows again."""
    if sessions:
        forget_in_logbook(warehouse, Speller(sessions))


def fits_in(warehouse: Path) -> list[str]:
    """Every fit that the logbook of a warehouse names."""
    with Logbook(warehouse).reading() as book:
        drawn = {text for _, column, _, text in _texts(book) if column == _FIT and text}
        return sorted(drawn | {fit for _, fit in _of_fits(book)})


def told_of(warehouse: Path, speller: Speller) -> str:
    """How many entries of the logbook are about a rider, and how many texts of others name the rider; empty for none."""
    logbook = Logbook(warehouse)
    if not logbook.file.exists():
        return ""
    with logbook.reading() as book:
        own = {entry_id for entry_id, fit in _of_fits(book) if speller.is_one(fit)}
        texts = book.execute("SELECT entry_id, text FROM events WHERE text <> ''").fetchall()
    n_texts = sum(entry_id not in own and speller.names(text) for entry_id, text in texts)
    if not own and not n_texts:
        return ""
    told = f"{counted(len(own), 'entry', 'entries')} about the rider"
    return f"{told}, and {counted(n_texts, 'text')} of others that {'names' if n_texts == 1 else 'name'} the rider"


def n_naming(warehouse: Path, speller: Speller) -> int:
    """How many cells of the logbook name one of the ids, and how often its bytes spell one beyond those that cells spell."""
    logbook = Logbook(warehouse)
    if not logbook.file.exists():
        return 0
    with logbook.reading() as book:
        cells = [(column, text) for _, column, _, text in _texts(book)]
        cells += [(_FIT, fit) for _, fit in _of_fits(book)]
    n_cells = sum(speller.names(text) or (column == _FIT and speller.is_one(text)) for column, text in cells)
    content, held = logbook.file.read_bytes().lower(), "\n".join(text for _, text in cells).lower().encode()
    # Short ones are spelt by chance, where a cell ends and the next begins.
    telling = [needle.encode() for needle in speller.needles if len(needle) >= 5]
    return n_cells + sum(max(0, content.count(word) - held.count(word)) for word in telling)


def logbook_told(warehouse: Path) -> tuple[Literal["fine", "do"], str, str] | None:
    """State, words and what to do of the logbook, as the doctor tells a check; None where there is none."""
    logbook = Logbook(warehouse)
    if not logbook.file.exists():
        return None
    try:
        if faults := logbook.faults():
            return (
                "do",
                f"{logbook.file} is damaged: {faults}.",
                "Keep it apart, and run fitledger restore on the newest backup.",
            )
        with logbook.reading() as book:
            n_open, n_all, n_draws, n_entries = book.execute(
                "SELECT count(*) FILTER (WHERE closed_at = ''), count(*), (SELECT count(*) FROM draws), "
                "(SELECT count(*) FROM entries) FROM comparisons"
            ).fetchone()
    except LogbookError as fault:
        return "do", str(fault), "Do what the sentence says."
    comparisons = f"{counted(n_all, 'comparison')}, {n_open} open; {counted(n_draws, 'draw')}"
    entries = counted(n_entries, "call, task, note or goal", "calls, tasks, notes and goals")
    return "fine", f"{logbook.file} is whole; version {LOGBOOK_VERSION}; {comparisons}; {entries}.", ""


def _of_fits(book: sqlite3.Connection) -> list[tuple[str, str]]:
    """The entries that are about a rider's fit, each with the fit."""
    kinds = ", ".join("?" * len(OF_FITS))
    return [tuple(row) for row in book.execute(f"SELECT entry_id, key FROM entries WHERE kind IN ({kinds})", OF_FITS)]


def _texts(book: sqlite3.Connection) -> Iterator[tuple[str, str, int, str]]:
    """Every text of every table: table, column, number of the row, text."""
    tables = [
        row[0] for row in book.execute("SELECT name FROM sqlite_schema WHERE type = 'table' AND name NOT LIKE 'sqlite_%'")
    ]
    for table in tables:
        columns = [
            row["name"]
            for row in book.execute(f'PRAGMA table_info("{table}")')
            if row["type"] == "TEXT" and row["name"] not in _CODES
        ]
        for column in columns:
            texts = f'SELECT rowid, "{column}" FROM "{table}" WHERE length("{column}") > 0'
            for row, text in book.execute(texts).fetchall():
                yield table, column, row, text

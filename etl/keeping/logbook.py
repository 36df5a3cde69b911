"""What keeps the logbook beside the warehouse: copies of it, taking a rider's fits out of it, the proof, and how it is."""

import sqlite3
from collections.abc import Collection, Iterator
from contextlib import closing
from pathlib import Path
from typing import Final, Literal

from etl.keeping.spelling import Speller
from shared.errors import LogbookError
from shared.files import OWNER_ONLY
from shared.logbook.store import LOGBOOK_VERSION, Logbook
from shared.statistics.wording import counted

# A column that holds the id of a fit and nothing else; it is emptied, since two fits of a rider may stand in one comparison.
_FIT: Final = "session_id"


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
    the fit that it was drawn for. Raises LogbookError where it cannot."""
    logbook = Logbook(warehouse)
    if not logbook.file.exists():
        return
    with logbook.writing() as book:
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
        return sorted({text for _, column, _, text in _texts(book) if column == _FIT and text})


def n_naming(warehouse: Path, speller: Speller) -> int:
    """How many cells of the logbook name one of the ids, and how often its bytes spell one beyond those that cells spell."""
    logbook = Logbook(warehouse)
    if not logbook.file.exists():
        return 0
    with logbook.reading() as book:
        cells = [(column, text) for _, column, _, text in _texts(book)]
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
            n_open, n_all, n_draws = book.execute(
                "SELECT count(*) FILTER (WHERE closed_at = ''), count(*), (SELECT count(*) FROM draws) FROM comparisons"
            ).fetchone()
    except LogbookError as fault:
        return "do", str(fault), "Do what the sentence says."
    comparisons = f"{counted(n_all, 'comparison')}, {n_open} open; {counted(n_draws, 'draw')}"
    return "fine", f"{logbook.file} is whole; version {LOGBOOK_VERSION}; {comparisons}.", ""


def _texts(book: sqlite3.Connection) -> Iterator[tuple[str, str, int, str]]:
    """Every text of every table: table, column, number of the row, text."""
    tables = [
        row[0] for row in book.execute("SELECT name FROM sqlite_schema WHERE type = 'table' AND name NOT LIKE 'sqlite_%'")
    ]
    for table in tables:
        columns = [row["name"] for row in book.execute(f'PRAGMA table_info("{table}")') if row["type"] == "TEXT"]
        for column in columns:
            texts = f'SELECT rowid, "{column}" FROM "{table}" WHERE length("{column}") > 0'
            for row, text in book.execute(texts).fetchall():
                yield table, column, row, text

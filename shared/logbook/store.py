"""The file of the logbook: opened for one step, whole or not at all, by as many programs as want to.

SQLite, through Python's own module, as for who is signed in: it keeps a file whole whoever writes to it and however a program
ends. A library on top would write for us a handful of statements, and add a dependency and a second way to say SQL.
"""

import os
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any, Final

from shared.errors import LogbookError
from shared.files import OWNER_ONLY, beside, put_new_in_place
from shared.working import working

ENDING: Final = ".logbook"
# What a backup or a copy holds of the file besides: what a writer that was killed left to be undone by whoever comes next.
JOURNAL: Final = "-journal"
# Raise it with every change of a table, and add the step that leads there: sql/from_N.sql, which begins at version N.
LOGBOOK_VERSION: Final = 3
# Says that a file of SQLite is a logbook, in its head (PRAGMA application_id): "fitl".
APPLICATION: Final = 0x6669746C
_SQL: Final = Path(__file__).with_name("sql")
_BUSY_SECONDS: Final = 5.0
_UNTOUCHED: Final = "Nothing was changed."


class Logbook:
    """The logbook of the warehouse at `warehouse`, which need not be there; the file is made with the first entry.

    busy_seconds: how long another writer is waited for.
    """

    def __init__(self, warehouse: Path, *, busy_seconds: float = _BUSY_SECONDS) -> None:
        self.file = beside(warehouse, ENDING)
        self._busy = busy_seconds

    def state(self) -> tuple[int, int, int]:
        """Tells one state of the file from another, for whoever remembers what it held: by the count of its changes, which
        SQLite keeps in its head, since two steps may come within one tick of the disk's clock."""
        try:
            with self.file.open("rb") as head:
                return (os.fstat(head.fileno()).st_ino, self.file.stat().st_size, int.from_bytes(head.read(28)[24:], "big"))
        except OSError:
            return (0, 0, 0)

    @contextmanager
    def reading(self) -> Iterator[sqlite3.Connection]:
        """The entries as they stand, none where there is no file. Raises LogbookError where it cannot be read."""
        if not self.file.exists():
            with closing(_made(":memory:")) as empty:
                yield empty
            return
        with self._opened() as book:
            book.execute("BEGIN")
            yield book

    @contextmanager
    def writing(self) -> Iterator[sqlite3.Connection]:
        """The entries to add to or change: all that the block does, or nothing where it fails. One writer at a time.

        Raises LogbookError where the file is another's, damaged, held for too long, or cannot be written.
        """
        if not self.file.exists():
            self._begin()
        with self._opened() as book:
            book.execute("BEGIN IMMEDIATE")
            if _one(book, "PRAGMA quick_check(1)") != "ok":
                raise sqlite3.DatabaseError("its pages do not fit together")
            yield book
            book.execute("COMMIT")

    def faults(self) -> str:
        """What does not fit together in the file; empty where it is whole. Raises LogbookError where it cannot be read."""
        with self._opened() as book:
            told = str(_one(book, "PRAGMA integrity_check(1)"))
        return "" if told == "ok" else told

    def write_afresh(self) -> None:
        """Writes the file without what its free pages held, in one step. Raises LogbookError."""
        with self._opened() as book:
            book.execute("VACUUM")

    @contextmanager
    def _opened(self) -> Iterator[sqlite3.Connection]:
        """The file, of this version, outside of a transaction; every fault of it as one sentence."""
        try:
            if not self.file.stat().st_size:
                raise sqlite3.DatabaseError("it is empty")
            with closing(self._connect()) as book:
                self._bring_up_to_date(book)
                try:
                    yield book
                finally:
                    if book.in_transaction:
                        book.execute("ROLLBACK")
        except (OSError, sqlite3.Error) as fault:
            raise self._fault(fault) from fault

    def _connect(self) -> sqlite3.Connection:
        # Transactions are begun and ended here alone.
        book = sqlite3.connect(self.file, timeout=self._busy, isolation_level=None)
        book.row_factory = sqlite3.Row
        book.execute("PRAGMA foreign_keys = ON")
        # What is taken out is overwritten, and a step is on the disk before it counts as done.
        book.execute("PRAGMA secure_delete = ON")
        book.execute("PRAGMA synchronous = EXTRA")
        return book

    def _bring_up_to_date(self, book: sqlite3.Connection) -> None:
        if _one(book, "PRAGMA application_id") != APPLICATION:
            raise LogbookError(f"{self.file}: this file is no logbook of fitledger. {_UNTOUCHED} Put it elsewhere.")
        if self._version(book) == LOGBOOK_VERSION:
            return
        book.execute("BEGIN IMMEDIATE")
        # Asked again, since another program may have done it while this one waited.
        for version in range(self._version(book), LOGBOOK_VERSION):
            _step(book, version)
        book.execute("COMMIT")

    def _version(self, book: sqlite3.Connection) -> int:
        version = int(_one(book, "PRAGMA user_version"))
        if version > LOGBOOK_VERSION:
            raise LogbookError(
                f"{self.file}: found a logbook of version {version}, expected {LOGBOOK_VERSION} or older: a newer fitledger "
                f"wrote it. {_UNTOUCHED} Update this fitledger."
            )
        return version

    def _begin(self) -> None:
        """Makes the file beside and puts it in place whole, so that one that is empty or half made is never a new one."""
        try:
            with working(self.file.parent) as folder:
                made = folder / "made.logbook"
                os.close(os.open(made, os.O_CREAT | os.O_RDWR, OWNER_ONLY))
                _made(str(made)).close()
                try:
                    put_new_in_place(made, self.file)
                except FileExistsError:
                    return  # another program was faster
        except (OSError, sqlite3.Error) as fault:
            raise self._fault(fault) from fault

    def _fault(self, fault: Exception) -> LogbookError:
        return LogbookError(f"{self.file}: {fault_words(fault)}")


def fault_words(fault: Exception) -> str:
    """What a fault of the file means to a reader, and what to do."""
    told = str(fault)
    if isinstance(fault, sqlite3.IntegrityError):
        return f"the entry contradicts one that is there ({told}). {_UNTOUCHED} Look at the entries and try again."
    if "locked" in told or "busy" in told:
        return f"another program is writing the logbook and holds it. {_UNTOUCHED} Wait for it to end, then try again."
    if "full" in told or getattr(fault, "errno", None) == 28:
        return f"the disk is full, so that the logbook could not be written. {_UNTOUCHED} Free some space and try again."
    if "readonly" in told or "unable to open" in told or isinstance(fault, OSError):
        reason = getattr(fault, "strerror", None) or told
        return f"the logbook cannot be written ({reason}). {_UNTOUCHED} Give the user who runs fitledger that right."
    return (
        f"the logbook is damaged or cut short ({told}). {_UNTOUCHED} Keep this file apart, and put the logbook of a backup in "
        "its place: fitledger restore."
    )


def _made(place: str) -> sqlite3.Connection:
    """A logbook of this version without an entry, at a path or in memory."""
    book = sqlite3.connect(place, isolation_level=None)
    book.row_factory = sqlite3.Row
    book.execute("BEGIN")
    book.execute(f"PRAGMA application_id = {APPLICATION}")
    for version in range(LOGBOOK_VERSION):
        _step(book, version)
    book.execute("COMMIT")
    return book


def _step(book: sqlite3.Connection, version: int) -> None:
    """One step of the migration within the present transaction, which `executescript` would end."""
    statement = ""
    for line in (_SQL / f"from_{version}.sql").read_text(encoding="utf-8").splitlines(keepends=True):
        statement += line
        if sqlite3.complete_statement(statement):
            book.execute(statement)
            statement = ""
    book.execute(f"PRAGMA user_version = {version + 1}")


def _one(book: sqlite3.Connection, question: str) -> Any:
    return book.execute(question).fetchone()[0]

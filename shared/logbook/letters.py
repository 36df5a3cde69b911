"""Which letters went to whom: a letter is claimed before it is handed over, so that none goes twice, whoever is killed when."""

import secrets
import sqlite3
from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Final

from shared.logbook.store import Logbook

MOST_TRIES: Final = 6
_FIRST_PAUSE: Final = timedelta(minutes=5)
# Whoever hands a letter over is done with it sooner; a claim that is older was left by a program that ended.
LONGEST_HANDING_OVER: Final = timedelta(minutes=15)
# A step of a figure is found at another date as data come in: within so many days it is the same one.
SAME_MOVE_DAYS: Final = 92


@dataclass(frozen=True)
class Signal:
    """A move of a figure: higher or lower, from about `period_from` on."""

    figure: str
    direction: str
    period_from: date


@dataclass(frozen=True)
class LetterReader:
    """An address in a role, by its number; `has_stopped`: wants no letter."""

    number: int
    role: str
    address: str
    has_stopped: bool


@dataclass(frozen=True)
class Claim:
    """A letter that is to be handed over now, by whoever holds this; `n_tries` counts this try."""

    reader: LetterReader
    occasion: str
    n_tries: int


@dataclass(frozen=True)
class Unsent:
    """A letter that has not gone, or may not have: what of it is known, and why."""

    role: str
    address: str
    occasion: str
    state: str
    n_tries: int
    tried_at: str
    told: str


class Letters:
    """The letters of the warehouse at `warehouse`, in its logbook. Every step raises LogbookError."""

    def __init__(self, warehouse: Path) -> None:
        self._logbook = Logbook(warehouse)

    def reader(self, role: str, address: str) -> LetterReader:
        """The reader at an address (case does not matter), known from now on."""
        address = address.lower()
        known = self._found("role = ? AND address = ?", role, address)
        if known:
            return known
        with self._logbook.writing() as book:
            book.execute("INSERT INTO letter_readers (role, address) VALUES (?, ?) ON CONFLICT DO NOTHING", (role, address))
        found = self._found("role = ? AND address = ?", role, address)
        assert found is not None
        return found

    def numbered(self, number: int) -> LetterReader | None:
        """The reader of a number, where there is one."""
        return self._found("reader_no = ?", number)

    def set_stopped(self, reader: LetterReader, now: datetime, *, stopped: bool) -> None:
        """Whether the reader wants no letter any more."""
        with self._logbook.writing() as book:
            when = _text(now) if stopped else ""
            book.execute("UPDATE letter_readers SET stopped_at = ? WHERE reader_no = ?", (when, reader.number))

    def secret(self) -> bytes:
        """What signs the links; made with the first one."""
        known = self.known_secret()
        if known:
            return known
        with self._logbook.writing() as book:
            if book.execute("SELECT secret FROM letter_secret").fetchone() is None:
                book.execute("INSERT INTO letter_secret (secret) VALUES (?)", (secrets.token_hex(32),))
        return self.secret()

    def known_secret(self) -> bytes:
        """The same, empty where no link was signed yet: whoever opens a link writes nothing."""
        with self._logbook.reading() as book:
            row = book.execute("SELECT secret FROM letter_secret").fetchone()
        return bytes.fromhex(row["secret"]) if row else b""

    def claim(self, reader: LetterReader, occasion: str, now: datetime, *, again: bool = False) -> Claim | None:
        """The letter of an occasion, where it is to be handed over now: it never was tried, or it is to be tried again.

        again: also where it went, may have gone, or was given up.
        """
        with self._logbook.writing() as book:
            row = book.execute(
                "SELECT state, n_tries, tried_at, next_at FROM letters WHERE reader_no = ? AND occasion = ?",
                (reader.number, occasion),
            ).fetchone()
            if row is None:
                book.execute(
                    "INSERT INTO letters (reader_no, occasion, state, n_tries, tried_at) VALUES (?, ?, 'sending', 1, ?)",
                    (reader.number, occasion, _text(now)),
                )
                return Claim(reader, occasion, 1)
            if row["state"] == "sending" and _text(now - LONGEST_HANDING_OVER) >= row["tried_at"]:
                words = "fitledger ended while it was handing this letter over, so that it may have gone."
                _set(book, reader, occasion, "unknown", words)
                return None
            is_due = row["state"] == "later" and (again or row["next_at"] <= _text(now))
            if not is_due and not (again and row["state"] != "sending"):
                return None
            n_tries = row["n_tries"] + 1 if row["state"] == "later" else 1
            book.execute(
                "UPDATE letters SET state = 'sending', n_tries = ?, tried_at = ?, told = '' "
                "WHERE reader_no = ? AND occasion = ?",
                (n_tries, _text(now), reader.number, occasion),
            )
            return Claim(reader, occasion, n_tries)

    def gone(self, claim: Claim, content: str, signals: Collection[Signal]) -> None:
        """The letter was taken: its words, and the moves that it told of."""
        with self._logbook.writing() as book:
            _set(book, claim.reader, claim.occasion, "sent", "", content)
            _keep_signals(book, claim.reader, signals)

    def nothing_new(self, claim: Claim, content: str, signals: Collection[Signal]) -> None:
        """The letter would have said what the last one said, and was not sent."""
        with self._logbook.writing() as book:
            _set(book, claim.reader, claim.occasion, "same", "", content)
            _keep_signals(book, claim.reader, signals)

    def failed(self, claim: Claim, told: str, now: datetime, *, for_good: bool) -> None:
        """The letter was not taken: it is tried again, each time after four times as long, until there were MOST_TRIES."""
        gives_up = for_good or claim.n_tries >= MOST_TRIES
        next_at = "" if gives_up else _text(now + _FIRST_PAUSE * 4 ** (claim.n_tries - 1))
        with self._logbook.writing() as book:
            _set(book, claim.reader, claim.occasion, "given up" if gives_up else "later", told, next_at=next_at)

    def left_unknown(self, claim: Claim, told: str) -> None:
        """The letter was handed over whole and no answer came: it may have gone, and is not sent again by itself."""
        with self._logbook.writing() as book:
            _set(book, claim.reader, claim.occasion, "unknown", told)

    def last_content(self, reader: LetterReader) -> str:
        """The digest of the words that the reader was sent last; empty where none was."""
        with self._logbook.reading() as book:
            row = book.execute(
                "SELECT content FROM letters WHERE reader_no = ? AND state = 'sent' ORDER BY tried_at DESC, rowid DESC LIMIT 1",
                (reader.number,),
            ).fetchone()
        return str(row["content"]) if row else ""

    def was_sent(self, reader: LetterReader) -> bool:
        """Whether the reader was ever sent one."""
        return bool(self.last_content(reader))

    def new_signals(self, reader: LetterReader, signals: Collection[Signal]) -> list[Signal]:
        """Those that the reader was not told of: the same figure, the same way, from about the same time on is the same."""
        with self._logbook.reading() as book:
            rows = book.execute(
                "SELECT figure, direction, period_from FROM letter_signals WHERE reader_no = ?", (reader.number,)
            ).fetchall()
        told = [Signal(row["figure"], row["direction"], date.fromisoformat(row["period_from"])) for row in rows]
        return [signal for signal in signals if not any(_is_same(signal, one) for one in told)]

    def to_try_again(self, reader: LetterReader, now: datetime) -> list[str]:
        """The occasions of which a letter failed, and is to be tried again by now, or was left by a program that ended."""
        with self._logbook.reading() as book:
            rows = book.execute(
                "SELECT occasion FROM letters WHERE reader_no = ? "
                "AND (state = 'later' AND next_at <= ? OR state = 'sending' AND tried_at <= ?)",
                (reader.number, _text(now), _text(now - LONGEST_HANDING_OVER)),
            ).fetchall()
        return [row["occasion"] for row in rows]

    def unsent(self) -> list[Unsent]:
        """The letters that failed or may have, the last first, of those for which none went since."""
        with self._logbook.reading() as book:
            rows = book.execute(
                "SELECT role, address, occasion, state, n_tries, tried_at, told FROM letters INNER JOIN letter_readers "
                "USING (reader_no) WHERE state IN ('later', 'given up', 'unknown') AND tried_at > coalesce("
                "(SELECT max(tried_at) FROM letters AS gone WHERE gone.reader_no = letters.reader_no AND gone.state = 'sent'), "
                "'') ORDER BY tried_at DESC"
            ).fetchall()
        return [Unsent(*tuple(row)) for row in rows]

    def _found(self, which: str, *bound: str | int) -> LetterReader | None:
        with self._logbook.reading() as book:
            row = book.execute(
                f"SELECT reader_no, role, address, stopped_at FROM letter_readers WHERE {which}",  # noqa: S608
                bound,
            ).fetchone()
        return LetterReader(row["reader_no"], row["role"], row["address"], bool(row["stopped_at"])) if row else None


def _is_same(one: Signal, other: Signal) -> bool:
    is_one_way = (one.figure, one.direction) == (other.figure, other.direction)
    return is_one_way and abs((one.period_from - other.period_from).days) <= SAME_MOVE_DAYS


def _set(
    book: sqlite3.Connection,
    reader: LetterReader,
    occasion: str,
    state: str,
    told: str,
    content: str = "",
    next_at: str = "",
) -> None:
    book.execute(
        "UPDATE letters SET state = ?, told = ?, content = ?, next_at = ? WHERE reader_no = ? AND occasion = ?",
        (state, told, content, next_at, reader.number, occasion),
    )


def _keep_signals(book: sqlite3.Connection, reader: LetterReader, signals: Collection[Signal]) -> None:
    book.executemany(
        "INSERT INTO letter_signals (reader_no, figure, direction, period_from) VALUES (?, ?, ?, ?) ON CONFLICT DO NOTHING",
        [(reader.number, one.figure, one.direction, one.period_from.isoformat()) for one in signals],
    )


def _text(when: datetime) -> str:
    return f"{when:%Y-%m-%dT%H:%M:%S}"

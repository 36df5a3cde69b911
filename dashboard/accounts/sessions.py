"""Who is signed in: one row a session in a small file beside the warehouse, so that a session can be ended.

The browser holds a random identifier and nothing else; the file holds its SHA-256. SQLite keeps the file whole whoever writes
to it: several threads of the server, its next start, and commands.
"""

import hashlib
import logging
import os
import secrets
import sqlite3
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, Literal

from shared.errors import AccountError
from shared.files import OWNER_ONLY, beside
from shared.settings_running import SignIn

Stage = Literal["whole", "code", "setup"]
# How long the second step of a sign-in may take.
STEP_SECONDS: Final = 600.0
# Use is noted at most so often, so that a page's many questions write once.
NOTED_SECONDS: Final = 60.0
# A clock that was set back by more ends the sessions of later times.
_BACK_SECONDS: Final = 300.0
_BUSY_SECONDS: Final = 5.0
_TABLE: Final = (Path(__file__).with_name("sql") / "sessions.sql").read_text(encoding="utf-8")
log = logging.getLogger("fitledger.accounts")


@dataclass(frozen=True)
class Session:
    """One session as it is kept; see sql/sessions.sql."""

    mark: str
    name: str
    stamp: str
    agent: str
    stage: Stage
    has_second: bool
    secret: str
    began_at: float
    seen_at: float


class Sessions:
    """The sessions of the dashboard on the warehouse at `path`. Opened anew for every use, so that a server may fork.

    `longest_seconds` after signing in, or `idle_seconds` without use, a session ends. `clock`: seconds since 1970.
    """

    def __init__(
        self, path: Path, *, longest_seconds: float, idle_seconds: float, clock: Callable[[], float] = time.time
    ) -> None:
        self.file = beside(path, ".sessions")
        self._longest = longest_seconds
        self._idle = idle_seconds
        self._clock = clock
        # Ended where the disk took no note of it; at least this server knows.
        self._ended: set[str] = set()

    def begin(
        self, name: str, stamp: str, agent: str, *, stage: Stage = "whole", has_second: bool = False, secret: str = ""
    ) -> str:
        """Begins a session for what the browser calls itself, and gives its new identifier.

        Raises AccountError where the file cannot be written.
        """
        identifier, now = secrets.token_urlsafe(32), self._clock()
        row = (_digest(identifier), name, stamp, _digest(agent), stage, int(has_second), secret, now, now)
        with self._open() as file:
            file.execute("DELETE FROM sessions WHERE began_at < ? OR seen_at < ?", (now - self._longest, now - self._idle))
            file.execute("INSERT INTO sessions VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)", row)
        return identifier

    def find(self, identifier: str, agent: str) -> Session | None:
        """The session of an identifier, where it has not ended. It ends here when it is too old, was not used for too long,
        or comes from a browser that calls itself otherwise. Notes the use. Raises AccountError where the file cannot be
        read."""
        if not identifier or not self.file.exists():
            return None
        mark, now = _digest(identifier), self._clock()
        with self._open() as file:
            row = file.execute("SELECT * FROM sessions WHERE mark = ?", (mark,)).fetchone()
        if row is None or mark in self._ended:
            return None
        session = _session(row)
        if not self._holds(session, now) or not secrets.compare_digest(session.agent, _digest(agent)):
            self.end(identifier)
            return None
        if now - session.seen_at >= NOTED_SECONDS:
            self._note_use(mark, now)
        return session

    def end(self, identifier: str) -> None:
        """Ends a session; one that is not known is no fault."""
        mark = _digest(identifier)
        if not identifier or not self.file.exists():
            return
        try:
            with self._open() as file:
                file.execute("DELETE FROM sessions WHERE mark = ?", (mark,))
        except AccountError as fault:
            self._ended.add(mark)
            log.error("A session was ended for as long as this server runs; its file was not changed: %s", fault)

    def all(self) -> tuple[Session, ...]:
        """Every session that has not ended by age or idleness, by name. The stamps of the accounts are not looked at."""
        if not self.file.exists():
            return ()
        with self._open() as file:
            rows = file.execute("SELECT * FROM sessions ORDER BY name, began_at").fetchall()
        return tuple(session for session in map(_session, rows) if self._holds(session, self._clock()))

    def _holds(self, session: Session, now: float) -> bool:
        longest = self._longest if session.stage == "whole" else STEP_SECONDS
        is_young, is_used = now - session.began_at < longest, now - session.seen_at < self._idle
        return is_young and is_used and now > session.seen_at - _BACK_SECONDS

    def _note_use(self, mark: str, now: float) -> None:
        try:
            with self._open() as file:
                file.execute("UPDATE sessions SET seen_at = ? WHERE mark = ? AND seen_at < ?", (now, mark, now))
        except AccountError as fault:
            # The reader is let in all the same, until the session has been idle for too long.
            log.warning("The use of a session could not be noted: %s", fault)

    @contextmanager
    def _open(self) -> Iterator[sqlite3.Connection]:
        """The file in one transaction. Raises AccountError where it cannot be used."""
        try:
            if not self.file.exists():
                # Made before SQLite does, so that it is its owner's alone; SQLite gives its journal the same rights.
                os.close(os.open(self.file, os.O_CREAT | os.O_RDWR, OWNER_ONLY))
            file = sqlite3.connect(self.file, timeout=_BUSY_SECONDS)
            try:
                with file:
                    file.execute(_TABLE)
                    yield file
            finally:
                file.close()
        except (OSError, sqlite3.Error) as fault:
            raise AccountError(
                f"{self.file}: the file of who is signed in cannot be used ({fault}). Nobody can sign in. Free some space if "
                "the disk is full; else delete this file, and everybody signs in again."
            ) from fault


def sessions_for(path: Path, settings: SignIn, clock: Callable[[], float] = time.time) -> Sessions:
    """The sessions of the dashboard on a warehouse, which end as the settings say."""
    longest, idle = 3600.0 * settings.longest_hours, 60.0 * settings.idle_minutes
    return Sessions(path, longest_seconds=longest, idle_seconds=idle, clock=clock)


def _session(row: tuple[Any, ...]) -> Session:
    mark, name, stamp, agent, stage, has_second, secret, began_at, seen_at = row
    return Session(mark, name, stamp, agent, stage, bool(has_second), secret, began_at, seen_at)


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode("utf-8", errors="replace")).hexdigest()

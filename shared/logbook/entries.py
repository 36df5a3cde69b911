"""Entries of the logbook: calls, tasks, notes and goals, each with all that was said of it; nothing is overwritten."""

import secrets
import sqlite3
import threading
import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any, Final, Literal, get_args

from shared.errors import UsageError
from shared.logbook.store import Logbook

Sort = Literal["call", "task", "note", "goal"]
Kind = Literal["figure", "period", "fitter", "rider_follow_up", "load", "rig", "fit"]
SORTS: Final[tuple[Sort, ...]] = get_args(Sort)
KINDS: Final[tuple[Kind, ...]] = get_args(Kind)
# The kinds whose key is the session_id of a fit: such an entry goes with its rider.
OF_FITS: Final[tuple[Kind, ...]] = ("rider_follow_up", "fit")
CLOSED: Final = frozenset({"done", "dropped", "closed"})
LONGEST_TEXT: Final = 500
_LONGEST: Final[Mapping[str, int]] = {"key": 200, "address": 1_000, "text": LONGEST_TEXT, "state": 40, "by": 100, "who": 100}
_NAMES: Final[Mapping[str, str]] = {"key": "what it is about", "who": "who is to do it"}


@dataclass(frozen=True)
class Event:
    """One thing said of an entry. at: UTC. day: until when, booked for, valid from or dated; who: whom a task is given to."""

    event_no: int
    at: str
    by: str
    state: str
    day: date | None = None
    value: float | None = None
    text: str = ""
    who: str = ""


@dataclass(frozen=True)
class Entry:
    """One call, task, note or goal with its events, the oldest first; see sql/from_1.sql."""

    entry_id: str
    sort: Sort
    kind: Kind
    key: str
    address: str
    opened_at: str
    opened_by: str
    events: tuple[Event, ...] = ()

    @property
    def last(self) -> Event:
        return self.events[-1]

    @property
    def state(self) -> str:
        return self.last.state

    @property
    def is_open(self) -> bool:
        return self.state not in CLOSED

    @property
    def text(self) -> str:
        """What was said at first."""
        return self.events[0].text

    @property
    def said(self) -> str:
        """What was said last, of what came of it."""
        return self.last.text if len(self.events) > 1 else ""

    @property
    def opened_on(self) -> date:
        return date.fromisoformat(self.opened_at[:10])

    @property
    def ended_on(self) -> date:
        """The day of what was said last."""
        return date.fromisoformat(self.last.at[:10])

    @property
    def day(self) -> date | None:
        return next((event.day for event in reversed(self.events) if event.day), None)

    @property
    def value(self) -> float | None:
        return next((event.value for event in reversed(self.events) if event.value is not None), None)

    @property
    def who(self) -> str:
        return next((event.who for event in reversed(self.events) if event.who), "")


@dataclass(frozen=True)
class Entered:
    """The entries of some sorts as they stand, for a question that is told by them and remembered by them."""

    entries: tuple[Entry, ...] = ()

    def __hash__(self) -> int:
        """Of few of them, since it is asked with every answer; which are the same is told by all."""
        return hash((len(self.entries), self.entries[-1:]))

    @property
    def calls(self) -> tuple[Entry, ...]:
        return self._of("call")

    @property
    def tasks(self) -> tuple[Entry, ...]:
        return self._of("task")

    @property
    def notes(self) -> tuple[Entry, ...]:
        return self._of("note")

    @property
    def goals(self) -> tuple[Entry, ...]:
        return self._of("goal")

    def _of(self, sort: Sort) -> tuple[Entry, ...]:
        return tuple(one for one in self.entries if one.sort == sort)


@dataclass(frozen=True)
class _Read:
    """What a file held when it was read last: a page asks several times, and thousands of entries take a while."""

    state: tuple[int, int, int]
    entries: tuple[Entry, ...]
    entered: dict[frozenset[str], Entered]
    open_about: dict[tuple[str, str, str], tuple[Entry, ...]]

    @classmethod
    def of(cls, state: tuple[int, int, int], entries: tuple[Entry, ...]) -> "_Read":
        about: dict[tuple[str, str, str], list[Entry]] = {}
        for one in entries:
            if one.is_open:
                about.setdefault((one.sort, one.kind, one.key), []).append(one)
        return cls(state, entries, {}, {of: tuple(listed) for of, listed in about.items()})


_read: dict[Path, _Read] = {}
_reading = threading.Lock()


class Entries:
    """The entries in the logbook of the warehouse at `warehouse`; day: of its own clock, where it has one and what is said is
    said then."""

    def __init__(self, warehouse: Path, *, busy_seconds: float = 5.0, day: date | None = None) -> None:
        self._logbook = Logbook(warehouse, busy_seconds=busy_seconds)
        self._day = day

    def all(self, sort: Sort | None = None) -> tuple[Entry, ...]:
        """Every entry, or those of a sort, in the order in which they were opened. Raises LogbookError."""
        return self._now().entries if sort is None else self.entered([sort]).entries

    def entered(self, sorts: Iterable[Sort]) -> Entered:
        """The entries of some sorts together. Raises LogbookError."""
        wanted, known = frozenset(sorts), self._now()
        if wanted not in known.entered:
            known.entered[wanted] = Entered(tuple(one for one in known.entries if one.sort in wanted))
        return known.entered[wanted]

    def open_about(self, sort: Sort, kind: Kind, key: str) -> tuple[Entry, ...]:
        """The open entries about one thing, in the order in which they were opened. Raises LogbookError."""
        return self._now().open_about.get((sort, kind, key), ())

    def open(self, sort: Sort) -> tuple[Entry, ...]:
        """The open entries of a sort, by what they are about. Raises LogbookError."""
        return tuple(one for about, listed in self._now().open_about.items() if about[0] == sort for one in listed)

    def _now(self) -> _Read:
        state, file = self._logbook.state(), self._logbook.file.absolute()
        with _reading:
            known = _read.get(file)
        if known is None or known.state != state:
            with self._logbook.reading() as book:
                known = _Read.of(state, _entries(book))
            with _reading:
                _read[file] = known
        return known

    def found(self, entry_id: str, sort: Sort) -> Entry:
        """The entry of this name. Raises UsageError where there is none of this sort."""
        for one in self.all(sort):
            if one.entry_id == entry_id:
                return one
        raise UsageError(f"{entry_id}: there is no such {sort} in the logbook. fitledger {sort} list tells which there are.")

    def add(
        self,
        sort: Sort,
        kind: Kind,
        key: str,
        *,
        by: str,
        state: str = "open",
        text: str = "",
        day: date | None = None,
        value: float | None = None,
        who: str = "",
        address: str = "",
    ) -> Entry:
        """Opens an entry. Raises UsageError where a text is too long, holds what cannot be shown, or says nothing."""
        event = _checked(Event(1, _now(self._day), by, state, day, value, text, who))
        with self._logbook.writing() as book:
            entry = _opened(sort, kind, key, address, event)
            _write(book, entry)
        return entry

    def say(
        self,
        entry_id: str,
        state: str,
        *,
        by: str,
        text: str = "",
        day: date | None = None,
        value: float | None = None,
        who: str = "",
        only_open: bool = True,
    ) -> Entry:
        """Adds to what was said of an entry. Raises UsageError where there is none, or it is closed already."""
        event = _checked(Event(0, _now(self._day), by, state, day, value, text, who))
        with self._logbook.writing() as book:
            known = {one.entry_id: one for one in _entries(book, "WHERE entry_id = ?", entry_id)}
            if entry_id not in known:
                raise UsageError(f"{entry_id}: there is no such entry in the logbook. Nothing was changed.")
            entry = known[entry_id]
            if only_open and not entry.is_open:
                last = entry.last
                raise UsageError(f"{entry_id} is {last.state} already, by {last.by} on {last.at[:10]}. Nothing was changed.")
            return _said(book, entry, event)

    def say_about(self, sort: Sort, kind: Kind, key: str, event: Event) -> Entry:
        """Adds to the entry about this that is open, or opens it: two who say so at once say it of one entry."""
        event = _checked(replace(event, at=_now(self._day)))
        with self._logbook.writing() as book:
            return _about(book, sort, kind, key, event)

    def say_all(self, sort: Sort, kind: Kind, events: Mapping[str, Event], *, only_open: bool = False) -> int:
        """The same for many at once, all or none, by what they are about; gives how many were written.

        only_open: to entries that are open alone.
        """
        now, n = _now(self._day), 0
        with self._logbook.writing() as book:
            for key, event in events.items():
                if only_open and _open_about(book, sort, kind, key) is None:
                    continue
                _about(book, sort, kind, key, _checked(replace(event, at=now)))
                n += 1
        return n


def _now(day: date | None) -> str:
    now = datetime.now(UTC)
    return f"{day or now:%Y-%m-%d}{now:T%H:%M:%SZ}"


def _opened(sort: Sort, kind: Kind, key: str, address: str, event: Event) -> Entry:
    if sort not in SORTS or kind not in KINDS:
        raise UsageError(f"Found {kind!r}, expected what it is about: one of {', '.join(KINDS)}.")
    if not key:
        raise UsageError("Say what it is about: nothing was written.")
    _checked_texts({"key": key, "address": address})
    name = f"{sort[0].upper()}-{secrets.token_hex(4)}"
    return Entry(name, sort, kind, key, address, event.at, event.by, (replace(event, event_no=1),))


def _checked(event: Event) -> Event:
    """The event with its texts bounded: shown as they are, so that none may hold what steers a screen or a mail."""
    event = replace(event, text=_plain(event.text), who=_plain(event.who))
    _checked_texts({name: getattr(event, name) for name in ("by", "state", "text", "who")})
    return event


def _plain(text: str) -> str:
    """The text with each space that holds words together as a plain one."""
    return "".join(" " if unicodedata.category(sign) == "Zs" else sign for sign in text)


def _checked_texts(texts: Mapping[str, str]) -> None:
    for name, text in texts.items():
        words = _NAMES.get(name, f"the {name}")
        if len(text) > _LONGEST[name]:
            raise UsageError(
                f"{words.capitalize()} has {len(text):,} characters; at most {_LONGEST[name]:,} are kept. Shorten it."
            )
        if not all(sign.isprintable() for sign in text):
            raise UsageError(f"{words.capitalize()} holds a line break or another sign that cannot be shown. Leave it out.")


def _about(book: sqlite3.Connection, sort: Sort, kind: Kind, key: str, event: Event) -> Entry:
    known = _open_about(book, sort, kind, key)
    if known is not None:
        return _said(book, known, event)
    entry = _opened(sort, kind, key, "", event)
    _write(book, entry)
    return entry


def _open_about(book: sqlite3.Connection, sort: Sort, kind: Kind, key: str) -> Entry | None:
    about = _entries(book, "WHERE sort = ? AND kind = ? AND key = ?", sort, kind, key)
    return next((one for one in reversed(about) if one.is_open), None)


def _write(book: sqlite3.Connection, entry: Entry) -> None:
    cells = (entry.entry_id, entry.sort, entry.kind, entry.key, entry.address, entry.opened_at, entry.opened_by)
    book.execute(
        "INSERT INTO entries (entry_id, sort, kind, key, address, opened_at, opened_by) VALUES (?, ?, ?, ?, ?, ?, ?)", cells
    )
    _write_event(book, entry.entry_id, entry.last)


def _write_event(book: sqlite3.Connection, entry_id: str, event: Event) -> None:
    day = event.day.isoformat() if event.day else ""
    cells = (entry_id, event.event_no, event.at, event.by, event.state, day, event.value, event.text, event.who)
    book.execute(
        "INSERT INTO events (entry_id, event_no, at, by, state, day, value, text, who) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
        cells,
    )


def _said(book: sqlite3.Connection, entry: Entry, event: Event) -> Entry:
    event = replace(event, event_no=len(entry.events) + 1)
    _write_event(book, entry.entry_id, event)
    return replace(entry, events=(*entry.events, event))


def _entries(book: sqlite3.Connection, which: str = "", *bound: Any) -> tuple[Entry, ...]:
    """The entries by a condition of this module, with their events."""
    rows = book.execute(
        "SELECT entry_id, sort, kind, key, address, opened_at, opened_by, event_no, at, by, state, day, value, text, who "  # noqa: S608
        f"FROM entries INNER JOIN events USING (entry_id) {which} ORDER BY entries.rowid, event_no",
        bound,
    )
    found: dict[str, Entry] = {}
    events: dict[str, list[Event]] = {}
    for entry_id, sort, kind, key, address, opened_at, opened_by, number, at, by, state, day, value, text, who in rows:
        found.setdefault(entry_id, Entry(entry_id, sort, kind, key, address, opened_at, opened_by))
        event = Event(number, at, by, state, date.fromisoformat(day) if day else None, value, text, who)
        events.setdefault(entry_id, []).append(event)
    return tuple(replace(entry, events=tuple(events[entry_id])) for entry_id, entry in found.items())

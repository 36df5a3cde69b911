"""The log of access: who signed in, opened or downloaded what of which rider, loaded, took back, forgot, restored.

One JSON object a line in a file beside the warehouse, its owner's alone. A line is added by one write at the end of the file,
with the log held, so that several processes write whole lines; nothing in it is changed but by forgetting a rider, and
nothing leaves it but what is older than it is to be kept. It holds names of accounts, ids and what was done: no measure, no
note, nothing that was typed.
"""

import errno
import os
from collections.abc import Callable, Collection, Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass, fields, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, Final, Literal

import filelock
import orjson

from etl.keeping.spelling import FORGOTTEN, Speller
from shared.errors import AccessLogError
from shared.files import OWNER_ONLY, beside, write_in_place
from shared.statistics.wording import counted

ENDING: Final = ".access"
_WAIT_SECONDS: Final = 5.0


@dataclass(frozen=True)
class Entry:
    """One line: when (UTC), who, by the dashboard or a command, what was done with what, and the riders or sessions it named.

    `who` is an account, the operating system's user of a command, "this machine" where nobody signs in, or "unknown name".
    """

    at: str
    who: str
    by: Literal["dashboard", "command"]
    did: str
    what: str = ""
    riders: tuple[str, ...] = ()
    sessions: tuple[str, ...] = ()


@dataclass(frozen=True)
class LogState:
    """What a log holds: entries, lines that cannot be read, and the first and last time."""

    n_entries: int
    n_unreadable: int
    first: str | None
    last: str | None


class AccessLog:
    """The log of the warehouse at `path`. `kept_days` None keeps every entry. `clock`: this moment in UTC."""

    def __init__(
        self, path: Path, *, kept_days: int | None = None, clock: Callable[[], datetime] = lambda: datetime.now(UTC)
    ) -> None:
        self.file = beside(path, ENDING)
        self._kept_days = kept_days
        self._clock = clock

    def add(
        self,
        who: str,
        by: Literal["dashboard", "command"],
        did: str,
        what: str = "",
        *,
        riders: Collection[str] = (),
        sessions: Collection[str] = (),
    ) -> None:
        """Adds an entry of this moment; with the first of a day, what is too old goes. Raises AccessLogError where it
        cannot."""
        now = self._clock()
        entry = Entry(f"{now:%Y-%m-%dT%H:%M:%SZ}", who, by, did, what, tuple(riders), tuple(sessions))
        with _held(self.file):
            self._drop_old(now, days_late=1)
            _append(self.file, _line(entry))

    def drop_old(self) -> int:
        """Takes out what is older than it is to be kept; gives how many lines went. Raises AccessLogError where it cannot."""
        if not self.file.exists():
            return 0
        with _held(self.file):
            return self._drop_old(self._clock(), days_late=0)

    def entries(self) -> Iterator[Entry]:
        """Every entry in the order in which they came; lines that cannot be read are passed over."""
        return (entry for entry in map(_entry, _lines(self.file)) if entry)

    def state(self) -> LogState:
        """What the log holds, for whoever looks after it."""
        entries = [_entry(line) for line in _lines(self.file)]
        times = [entry.at for entry in entries if entry]
        return LogState(len(times), entries.count(None), min(times, default=None), max(times, default=None))

    def _drop_old(self, now: datetime, days_late: int) -> int:
        """`days_late`: nothing is done before the first line is so much too old, so that it is done once a day."""
        if self._kept_days is None or not self.file.exists():
            return 0
        first = next(iter(self.entries()), None)
        if first is None or first.at >= f"{now - timedelta(days=self._kept_days + days_late):%Y-%m-%dT%H:%M:%SZ}":
            return 0
        limit = f"{now - timedelta(days=self._kept_days):%Y-%m-%dT%H:%M:%SZ}"
        lines = list(_lines(self.file))
        kept = [line for line in lines if (entry := _entry(line)) and entry.at >= limit]
        _rewrite(self.file, kept)
        return len(lines) - len(kept)


def log_told(path: Path) -> tuple[Literal["fine", "note", "do"], str, str] | None:
    """State, words and what to do of the warehouse's log, as the doctor tells a check; None where there is none."""
    log = AccessLog(path)
    if not log.file.exists():
        return None
    try:
        state = log.state()
    except AccessLogError as fault:
        return "do", str(fault), "Until then the dashboard gives no rider's pages and no downloads."
    if not os.access(log.file, os.W_OK):
        return "do", f"{log.file} cannot be written.", "Give the user who runs fitledger the right to write there."
    since = f", the first of {state.first[:10]}" if state.first else ""
    if state.n_unreadable:
        entries, lines = counted(state.n_entries, "entry", "entries"), counted(state.n_unreadable, "line")
        return "note", f"{entries}{since}; {lines} cannot be read.", "A line may be torn when a disk runs full."
    return "fine", f"{counted(state.n_entries, 'entry', 'entries')}{since}.", ""


def forget_in_log(path: Path, speller: Speller) -> None:
    """Puts a mark in the place of a forgotten rider's ids and their sessions' in the log of the warehouse, in one step.

    Ids are compared whole, in any case and form. Raises AccessLogError where it cannot.
    """
    file = beside(path, ENDING)
    if not file.exists():
        return
    with _held(file):
        lines = list(_lines(file))
        changed = [_without(line, speller) for line in lines]
        if changed != lines:
            _rewrite(file, changed)


def _without(line: bytes, speller: Speller) -> bytes:
    entry = _entry(line)
    if entry is None:
        # A torn line: it goes whole where it may hold one of the ids.
        return b"" if speller.finds(line.decode("utf-8", errors="replace")) else line
    cleared = replace(
        entry,
        what=speller.without(entry.what, lambda _: False),
        riders=tuple(FORGOTTEN if speller.is_one(one) else one for one in entry.riders),
        sessions=tuple(FORGOTTEN if speller.is_one(one) else one for one in entry.sessions),
    )
    # Written as it was where nothing is forgotten, so that a line stays the same byte for byte.
    return line if cleared == entry else _line(cleared).rstrip(b"\n")


def _line(entry: Entry) -> bytes:
    # A user's name may hold bytes that are no text.
    cells = {name: _plain(value) for name, value in asdict(entry).items() if value}
    return orjson.dumps(cells) + b"\n"


def _plain(value: Any) -> Any:
    if isinstance(value, str):
        return value.encode("utf-8", errors="replace").decode("utf-8")
    return [_plain(one) for one in value]


def _entry(line: bytes) -> Entry | None:
    try:
        cells: Any = orjson.loads(line)
        known = {field.name: cells[field.name] for field in fields(Entry) if field.name in cells}
        for place in ("riders", "sessions"):
            known[place] = tuple(known.get(place, ()))
        return Entry(**known)
    except (ValueError, TypeError, KeyError):
        return None


def _lines(file: Path) -> Iterator[bytes]:
    """The lines without their ends. Raises AccessLogError where the file cannot be read."""
    try:
        with file.open("rb") as content:
            for line in content:
                if line.strip():
                    yield line.rstrip(b"\n")
    except FileNotFoundError:
        return
    except OSError as fault:
        raise AccessLogError(
            f"{file}: the log of access cannot be read ({fault.strerror}). Read it as the user who owns it."
        ) from fault


@contextmanager
def _held(file: Path) -> Iterator[None]:
    """Holds the log against other writers. Raises AccessLogError for whatever fails meanwhile."""
    try:
        with filelock.FileLock(beside(file, ".lock"), timeout=_WAIT_SECONDS):
            yield
    except (OSError, filelock.Timeout) as fault:
        raise AccessLogError(
            f"{file}: the log of access cannot be written ({getattr(fault, 'strerror', None) or fault}). Free some space if "
            "the disk is full, or give the user who runs fitledger the right to write there."
        ) from fault


def _append(file: Path, line: bytes) -> None:
    """Adds a line by one write, whole or not at all."""
    with open(file, "ab+", buffering=0, opener=lambda path, flags: os.open(path, flags, OWNER_ONLY)) as log:
        size = log.seek(0, os.SEEK_END)
        if size:
            log.seek(size - 1)
            line = line if log.read(1) == b"\n" else b"\n" + line  # what was there ends in a torn line
        if (log.write(line) or 0) < len(line):
            log.truncate(size)
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))


def _rewrite(file: Path, lines: Collection[bytes]) -> None:
    write_in_place(file, b"".join(line + b"\n" for line in lines if line))

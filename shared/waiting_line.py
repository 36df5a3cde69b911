"""A line of programs that write one file: who came first goes first, and each knows how many wait before it.

Each holds a lock on a numbered ticket of its own until it has written. The system lets go of a lock when its program ends,
however it ends: a ticket that nobody holds was left by one that was killed, and the line closes up behind it.
"""

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Final

import filelock

from shared.working import OWNER_ONLY_FOLDER

_POLL_SECONDS: Final = 0.05
# Nobody holds the door for longer than a look; an earlier fitledger held it while it wrote.
_DOOR_SECONDS: Final = 10.0


class NoTurnError(Exception):
    """This one's turn did not come in time: `n_waiting` others wait before it for the one that writes."""

    def __init__(self, n_waiting: int) -> None:
        super().__init__(n_waiting)
        self.n_waiting = n_waiting


class WaitingLine:
    """The line at one file: its tickets lie in `folder`, and are taken, counted and given back while `door` is held."""

    def __init__(self, folder: Path, door: Path) -> None:
        self._folder = folder
        self._door = filelock.FileLock(door, timeout=_DOOR_SECONDS)

    @contextmanager
    def turn(self, wait_seconds: float, on_wait: Callable[[int], None] | None) -> Iterator[None]:
        """Waits for this one's turn, which lasts as long as the block.

        `on_wait` is told how many wait before this one each time that this changes. Raises NoTurnError after so many seconds,
        OSError where the folder takes no file.
        """
        deadline = time.monotonic() + wait_seconds
        n_told = 0
        with self._ticket() as ticket:
            while n_before := self._n_before(ticket):
                if on_wait and n_before != n_told:
                    on_wait(n_before - 1)
                    n_told = n_before
                left = deadline - time.monotonic()
                if left <= 0:
                    raise NoTurnError(n_before - 1)
                # Those far behind ask less often, so that a long line costs little.
                time.sleep(min(left, _POLL_SECONDS * n_before))
            yield

    @contextmanager
    def _ticket(self) -> Iterator[Path]:
        """A ticket behind all others, held until the block ends."""
        with self._at_the_door():
            self._folder.mkdir(OWNER_ONLY_FOLDER, exist_ok=True)
            last = max((int(ticket.name) for ticket in self._tickets()), default=0)
            ticket = self._folder / f"{last + 1:010d}"
            lock = filelock.FileLock(ticket)
            lock.acquire(timeout=0)
        try:
            yield ticket
        finally:
            with self._at_the_door():
                lock.release()
                ticket.unlink(missing_ok=True)
                with suppress(OSError):  # others stand in line
                    self._folder.rmdir()

    @contextmanager
    def _at_the_door(self) -> Iterator[None]:
        try:
            self._door.acquire()
        except filelock.Timeout as fault:
            raise NoTurnError(0) from fault
        try:
            yield
        finally:
            self._door.release()

    def _n_before(self, ticket: Path) -> int:
        """How many stand before the one of this ticket; tickets of those who were killed are taken away."""
        with self._at_the_door():
            return sum(not _is_left(other) for other in self._tickets() if other.name < ticket.name)

    def _tickets(self) -> list[Path]:
        return [file for file in self._folder.iterdir() if file.name.isdigit()]


def tickets_beside(folder: Path) -> list[float]:
    """When each that stands in the line of `folder` came, in seconds since 1970, the first first: it writes, the others wait.

    Looks without taking part, so that one that was killed a moment ago may be among them.
    """
    came = []
    with suppress(FileNotFoundError):
        for ticket in folder.iterdir():
            with suppress(FileNotFoundError):
                came += [ticket.stat().st_mtime] if ticket.name.isdigit() else []
    return sorted(came)


def _is_left(ticket: Path) -> bool:
    """Whether nobody holds a ticket, which goes then."""
    lock = filelock.FileLock(ticket)
    try:
        lock.acquire(timeout=0)
    except filelock.Timeout:
        return False
    lock.release()
    ticket.unlink(missing_ok=True)
    return True

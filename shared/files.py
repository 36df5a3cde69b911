"""Files that change in one step: held by one writer, written beside, and put in place by a rename."""

import errno
import os
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

from shared.errors import WarehouseBusyError, WarehouseError
from shared.waiting_line import NoTurnError, WaitingLine, tickets_beside
from shared.working import working

# Health data: a new file is its owner's alone; one that is there keeps the rights that it was given.
OWNER_ONLY = 0o600


def beside(path: Path, ending: str) -> Path:
    """The file next to `path` whose name is that of `path` with an ending."""
    return path.with_name(path.name + ending)


@contextmanager
def held(path: Path, wait_seconds: float = 0, on_wait: Callable[[int], None] | None = None) -> Iterator[None]:
    """Holds the warehouse at `path` against other writers, who take turns in the order in which they came.

    `on_wait` is told how many wait before this one, each time that this changes.
    Raises WarehouseBusyError after `wait_seconds`, WarehouseError where the folder cannot be written.
    """
    line = WaitingLine(beside(path, ".line"), beside(path, ".lock"))
    with ExitStack() as turn:
        try:
            turn.enter_context(line.turn(wait_seconds, on_wait))
        except NoTurnError as fault:
            n = fault.n_waiting
            others = f", and {n} more wait{'s' * (n == 1)} for it" if n else ""
            raise WarehouseBusyError(
                f"{path}: another load is writing this warehouse{others}. Nothing was changed. Wait for it to end, then load "
                "again."
            ) from fault
        except OSError as fault:
            raise WarehouseError(
                f"{path}: the folder cannot be written ({fault.strerror}). Nothing was changed. Name a folder you may "
                "write to with --warehouse."
            ) from fault
        yield


def writers_of(path: Path) -> list[float]:
    """When each program that writes the warehouse at `path`, or waits to, came to its line, in seconds since 1970."""
    return tickets_beside(beside(path, ".line"))


def put_in_place(written: Path, path: Path) -> None:
    """Makes `written` durable and renames it to `path`: afterwards the one or the other is there, never a part."""
    _make_durable(written)
    written.replace(path)
    _make_durable_names(path.parent)


def put_new_in_place(written: Path, path: Path) -> None:
    """The same for a file that must not take another's place. Raises FileExistsError where there is one."""
    _make_durable(written)
    try:
        os.link(written, path)
    except FileExistsError:
        raise
    except OSError:  # a file system without links
        if path.exists():
            raise FileExistsError(errno.EEXIST, os.strerror(errno.EEXIST), str(path)) from None
        written.replace(path)
    _make_durable_names(path.parent)


def _make_durable(file: Path) -> None:
    with file.open("rb+") as content:
        os.fsync(content.fileno())


def _make_durable_names(folder: Path) -> None:
    if os.name == "posix":  # elsewhere a folder cannot be opened, and the rename is durable by itself
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def write_in_place(path: Path, content: bytes) -> None:
    """Writes a small file of its owner's alone, whole or not at all."""
    with working(path.parent) as folder:
        written = folder / path.name
        written.write_bytes(content)
        written.chmod(OWNER_ONLY)
        put_in_place(written, path)

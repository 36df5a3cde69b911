"""Files that change in one step: held by one writer, written beside, and put in place by a rename."""

import os
import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import filelock

from shared.errors import WarehouseBusyError, WarehouseError

# Health data: a new file is its owner's alone; one that is there keeps the rights that it was given.
OWNER_ONLY = 0o600


def beside(path: Path, ending: str) -> Path:
    """The file next to `path` whose name is that of `path` with an ending."""
    return path.with_name(path.name + ending)


@contextmanager
def held(path: Path, wait_seconds: float = 0, on_wait: Callable[[], None] | None = None) -> Iterator[None]:
    """Holds the warehouse at `path` against other writers; `on_wait` is called once where another holds it.

    Raises WarehouseBusyError after `wait_seconds`, WarehouseError where the folder cannot be written.
    """
    lock = filelock.FileLock(beside(path, ".lock"))
    try:
        try:
            lock.acquire(timeout=0)
        except filelock.Timeout:
            if on_wait:
                on_wait()
            lock.acquire(timeout=wait_seconds)
    except filelock.Timeout as fault:
        raise WarehouseBusyError(
            f"{path}: another load is writing this warehouse. Nothing was changed. Wait for it to end, then load again."
        ) from fault
    except OSError as fault:
        raise WarehouseError(
            f"{path}: the folder cannot be written ({fault.strerror}). Nothing was changed. Name a folder you may "
            "write to with --warehouse."
        ) from fault
    try:
        yield
    finally:
        lock.release()


def put_in_place(working: Path, path: Path) -> None:
    """Makes `working` durable and renames it to `path`: afterwards the one or the other is there, never a part."""
    with working.open("rb+") as file:
        os.fsync(file.fileno())
    working.replace(path)
    if os.name == "posix":  # elsewhere a folder cannot be opened, and the rename is durable by itself
        folder = os.open(path.parent, os.O_RDONLY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)


def write_in_place(path: Path, content: bytes) -> None:
    """Writes a small file of its owner's alone, whole or not at all."""
    working = beside(path, ".writing")
    working.write_bytes(content)
    working.chmod(OWNER_ONLY)
    put_in_place(working, path)


def leftovers_of(path: Path) -> list[Path]:
    """What a killed load, migration or restoring left beside the warehouse; its own at work while one runs."""
    starts = tuple(path.name + ending for ending in (".loading", ".rewritten", ".restoring", ".proof"))
    return [file for file in sorted(path.parent.iterdir()) if file.name.startswith(starts)] if path.parent.is_dir() else []


def remove_leftovers(path: Path) -> None:
    """Removes them; call with the warehouse held."""
    for file in leftovers_of(path):
        if file.is_dir():
            shutil.rmtree(file, ignore_errors=True)
        else:
            file.unlink(missing_ok=True)


def clear_leftovers(path: Path) -> None:
    """Removes what a killed load left beside the warehouse, where no load is at work."""
    if not leftovers_of(path):
        return
    try:
        with held(path):
            remove_leftovers(path)
    except WarehouseBusyError:
        return  # the load at work clears its own


@contextmanager
def scratch_beside(path: Path, ending: str) -> Iterator[Path]:
    """A folder of its owner's alone next to `path`; what a killed run left in it goes first, since its name is the same."""
    folder = beside(path, ending)
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir(OWNER_ONLY | 0o100)
    try:
        yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)

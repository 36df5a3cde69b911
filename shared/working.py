"""Working copies: one folder beside the files that they are for, and in it a folder for each program at work.

Each holds a lock on its own folder for as long as it works. The system lets go of a lock when its program ends, however
it ends: what is there and not locked was left by one that was killed, and goes with whoever comes next.
"""

import os
import secrets
import shutil
import stat
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import filelock

PLACE: Final = ".fitledger-working"
OWNER_ONLY_FOLDER: Final = 0o700
_LOCK: Final = "at-work.lock"
# Whoever sweeps in the very moment in which a folder is made may take it for one that was left.
_TRIES: Final = 100


class Work:
    """A folder of its owner's alone that holds a program's working copies until `end`."""

    def __init__(self, folder: Path, lock: filelock.BaseFileLock) -> None:
        self.folder = folder
        self._lock = lock

    def end(self) -> None:
        """Removes the folder; ending twice is no fault."""
        if self._lock.is_locked:
            _remove(self.folder, self._lock)


@dataclass(frozen=True)
class WorkingFolder:
    """A folder of working copies: of a program that is at work, or left by one that was killed."""

    folder: Path
    is_at_work: bool

    @property
    def n_bytes(self) -> int:
        """The size of what lies in it; what goes away meanwhile counts nothing."""
        total = 0
        for file in self.folder.rglob("*"):
            with suppress(OSError):
                total += file.lstat().st_size
        return total


def begin(directory: Path, *, elsewhere: bool = False) -> Work:
    """A new working folder in `directory`, so that a file in it can be renamed into the directory in one step.

    Where the directory takes none and `elsewhere` allows it, the folder is one of this user's alone among the temporary
    files. Raises OSError where neither takes one.
    """
    try:
        return _begin(directory / PLACE)
    except OSError:
        if not elsewhere:
            raise
    place = place_elsewhere()
    place.mkdir(OWNER_ONLY_FOLDER, exist_ok=True)
    _require_own(place)
    return _begin(place)


@contextmanager
def working(directory: Path, *, elsewhere: bool = False) -> Iterator[Path]:
    """A working folder for as long as the block runs, see `begin`."""
    work = begin(directory, elsewhere=elsewhere)
    try:
        yield work.folder
    finally:
        work.end()


def place_elsewhere() -> Path:
    """Where working folders lie whose own directory takes none: among the temporary files, one place a user."""
    user = os.getuid() if hasattr(os, "getuid") else "own"
    return Path(tempfile.gettempdir()) / f"fitledger-working-{user}"


def folders_in(place: Path) -> list[WorkingFolder]:
    """Every working folder of a place."""
    folders = []
    for folder in _folders(place):
        lock = _lock_of(folder)
        try:
            lock.acquire(timeout=0)
        except (OSError, filelock.Timeout) as fault:
            if folder.is_dir():
                folders.append(WorkingFolder(folder, isinstance(fault, filelock.Timeout)))
            continue
        folders.append(WorkingFolder(folder, is_at_work=False))
        lock.release()
    return folders


def sweep(place: Path) -> None:
    """Removes the working folders that nobody holds. What this user may not remove stays."""
    for folder in _folders(place):
        lock = _lock_of(folder)
        with suppress(OSError, filelock.Timeout):
            lock.acquire(timeout=0)
            _remove(folder, lock)
    with suppress(OSError):
        place.rmdir()


def _begin(place: Path) -> Work:
    sweep(place)
    for _ in range(_TRIES):
        folder = place / secrets.token_hex(8)
        lock = _lock_of(folder)
        _make(place)
        try:
            folder.mkdir(OWNER_ONLY_FOLDER)
            lock.acquire(timeout=0)
            # Where a sweeper was between the two, the lock has made both folders anew, for everybody to read.
            for made in (place, folder):
                made.chmod(OWNER_ONLY_FOLDER)
        except (FileNotFoundError, FileExistsError, filelock.Timeout):  # swept meanwhile, at whichever moment
            continue
        return Work(folder, lock)
    raise FileNotFoundError(f"no working folder could be kept in {place}")


def _make(place: Path) -> None:
    try:
        place.mkdir(OWNER_ONLY_FOLDER)
    except FileExistsError:
        with suppress(FileNotFoundError):  # a folder that went meanwhile
            if not stat.S_ISDIR(place.stat().st_mode):  # asked once, since between two questions another may come
                raise


def _lock_of(folder: Path) -> filelock.BaseFileLock:
    # Ended by another thread than began it, where a server works on an upload.
    return filelock.FileLock(folder / _LOCK, thread_local=False)


def _folders(place: Path) -> list[Path]:
    try:
        return sorted(entry for entry in place.iterdir() if entry.is_dir() and not entry.is_symlink())
    except OSError:
        return []


def _remove(folder: Path, lock: filelock.BaseFileLock) -> None:
    """Removes a folder whose lock this program holds."""
    with suppress(OSError):
        for entry in folder.iterdir():
            if entry.is_dir() and not entry.is_symlink():
                shutil.rmtree(entry, ignore_errors=True)
            elif entry.name != _LOCK:
                entry.unlink(missing_ok=True)
    # While it is held, so that nobody else takes it; where an open file cannot be removed, after that, and then alone: by now
    # somebody may have begun in this very folder, with a lock of their own.
    try:
        (folder / _LOCK).unlink(missing_ok=True)
        is_unlinked = True
    except OSError:
        is_unlinked = False
    lock.release()
    if not is_unlinked:
        with suppress(OSError):
            (folder / _LOCK).unlink(missing_ok=True)
    for emptied in (folder, folder.parent):
        with suppress(OSError):
            emptied.rmdir()


def _require_own(place: Path) -> None:
    """Anybody may make a folder among the temporary files, under any name."""
    state = place.lstat()
    is_own = not hasattr(os, "getuid") or (state.st_uid == os.getuid() and not state.st_mode & 0o077)
    if not stat.S_ISDIR(state.st_mode) or not is_own:
        raise PermissionError(f"{place} is not this user's alone")

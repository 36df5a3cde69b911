"""Every place where working copies of a warehouse may lie, and what programs that were killed left there."""

import os
import re
import shutil
import stat
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from etl.keeping.copies import Kind, known_copies, note_copy, working_places
from shared.errors import WarehouseError
from shared.files import held
from shared.working import PLACE, WorkingFolder, folders_in, place_elsewhere, sweep, working

# What fitledger 0.1 and before left beside a warehouse or a copy of it, under names of their own.
_EARLIER = r"(\.accounts\.json|\.key|\.watched)?\.(loading|rewritten|restoring|proof|unpacked|making|partial|writing)(\..*)?"
_EARLIER_UPLOADS = "fitledger-uploads-*"
# Who may only read the warehouse may not read the list of its copies: every command sweeps what it can.
_UNREADABLE = (OSError, ValueError, KeyError)


def places_of(warehouse: Path) -> list[Path]:
    """Beside the warehouse, beside each of its copies, and among the temporary files; also where there is none now."""
    own = warehouse.parent.resolve() / PLACE
    noted: list[Path] = []
    with suppress(*_UNREADABLE):
        noted = [copy.path.parent / PLACE for copy in known_copies(warehouse)] + working_places(warehouse)
    return list(dict.fromkeys([own, *noted, place_elsewhere()]))


@contextmanager
def working_elsewhere(warehouse: Path, directory: Path) -> Iterator[Path]:
    """A working folder in another directory, for what is written there from the warehouse; noted, so that it is swept too."""
    place = directory.resolve() / PLACE
    is_known = place in places_of(warehouse)
    _note(warehouse, place, "working", is_known)
    try:
        with working(directory) as folder:
            yield folder
    finally:
        _note(warehouse, place, "gone", is_known)


def _note(warehouse: Path, place: Path, kind: Kind, is_known: bool) -> None:
    if not is_known:
        with suppress(OSError):  # a warehouse that may only be read
            note_copy(warehouse, place, kind)


def sweep_all(warehouse: Path) -> None:
    """Removes what killed programs left, wherever it may lie. Called at the start of every command."""
    for place in places_of(warehouse):
        sweep(place)
    if earlier := left_by_earlier(warehouse):
        with suppress(WarehouseError), held(warehouse):  # a load of an earlier fitledger may be at work
            for path in earlier:
                _remove(path)


def folders_of(warehouse: Path) -> list[WorkingFolder]:
    """Every working folder of a program that is at work on this warehouse, or was killed."""
    return [left for place in places_of(warehouse) for left in folders_in(place)]


def left_by_earlier(warehouse: Path) -> list[Path]:
    """What an earlier fitledger that was killed left under the names that it used."""
    left = [path for path in sorted(place_elsewhere().parent.glob(_EARLIER_UPLOADS)) if _is_own(path)]
    files = [warehouse]
    with suppress(*_UNREADABLE):
        files += [copy.path for copy in known_copies(warehouse)]
    for file in dict.fromkeys(files):
        pattern = re.compile(re.escape(file.name) + _EARLIER)
        with suppress(OSError):
            left += [path for path in sorted(file.parent.iterdir()) if pattern.fullmatch(path.name)]
    return left


def _is_own(path: Path) -> bool:
    """Whether a folder is this user's, and no link: anybody may make one among the temporary files, under any name."""
    try:
        state = path.lstat()
    except OSError:
        return False
    return stat.S_ISDIR(state.st_mode) and (not hasattr(os, "getuid") or state.st_uid == os.getuid())


def _remove(path: Path) -> None:
    if path.is_dir() and not path.is_symlink():
        shutil.rmtree(path, ignore_errors=True)
    else:
        with suppress(OSError):
            path.unlink(missing_ok=True)

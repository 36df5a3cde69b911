"""Every place where working copies of a warehouse may lie, and what programs that were killed left there."""

import re
import shutil
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from etl.keeping.copies import Kind, known_copies, note_copy, working_places
from shared.errors import WarehouseError
from shared.files import held
from shared.working import PLACE, Found, found_in, place_elsewhere, sweep, working

# What fitledger 0.1 and before left beside a warehouse or a copy of it, under names of their own.
_EARLIER = r"(\.accounts\.json|\.key|\.watched)?\.(loading|rewritten|restoring|proof|unpacked|making|partial|writing)(\..*)?"
_EARLIER_UPLOADS = "fitledger-uploads-*"


def places_of(warehouse: Path) -> list[Path]:
    """Beside the warehouse, beside each of its copies, and among the temporary files; also where there is none now."""
    beside = [warehouse.parent.resolve(), *(copy.path.parent for copy in known_copies(warehouse))]
    return list(dict.fromkeys([*(folder / PLACE for folder in beside), *working_places(warehouse), place_elsewhere()]))


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


def found_of(warehouse: Path) -> list[Found]:
    """Every working folder of a program that is at work on this warehouse, or was killed."""
    return [found for place in places_of(warehouse) for found in found_in(place)]


def left_by_earlier(warehouse: Path) -> list[Path]:
    """What an earlier fitledger that was killed left under the names that it used."""
    left = [*place_elsewhere().parent.glob(_EARLIER_UPLOADS)] if place_elsewhere().parent.is_dir() else []
    for file in dict.fromkeys([warehouse, *(copy.path for copy in known_copies(warehouse))]):
        pattern = re.compile(re.escape(file.name) + _EARLIER)
        with suppress(OSError):
            left += [path for path in sorted(file.parent.iterdir()) if pattern.fullmatch(path.name)]
    return left


def _remove(path: Path) -> None:
    if path.is_dir() and not path.is_symlink():
        shutil.rmtree(path, ignore_errors=True)
    else:
        with suppress(OSError):
            path.unlink(missing_ok=True)

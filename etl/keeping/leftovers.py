"""Every place where working copies of a warehouse may lie, and what programs that were killed left there."""

import re
import shutil
from contextlib import suppress
from pathlib import Path

from etl.keeping.copies import known_copies
from shared.errors import WarehouseError
from shared.files import held
from shared.working import PLACE, Found, found_in, place_elsewhere, sweep

# What fitledger 0.1 and before left beside a warehouse or a copy of it, under names of their own.
_EARLIER = r"(\.accounts\.json|\.key|\.watched)?\.(loading|rewritten|restoring|proof|unpacked|making|partial|writing)(\..*)?"
_EARLIER_UPLOADS = "fitledger-uploads-*"


def places_of(warehouse: Path) -> list[Path]:
    """Beside the warehouse, beside each of its copies, and among the temporary files; also where there is none now."""
    beside = [warehouse.absolute().parent, *(copy.path.parent for copy in known_copies(warehouse))]
    return [*(folder / PLACE for folder in dict.fromkeys(beside)), place_elsewhere()]


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

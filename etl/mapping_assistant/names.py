"""What the names of files alike hold, and those of their folders, as columns of their rows: visit, side, number, day."""

import re
from collections.abc import Iterator, Sequence
from typing import Final

from etl.mapping_assistant.shapes import SourceColumn

# How a mapping names a file's own name without its ending, and the folder that it lies in.
FILE_NAME: Final = "@file"
FOLDER: Final = "@folder"
# What parts a name: blanks and strokes below first; if these part nothing, hyphens too, which stand within days and ids.
_APART: Final = ("_ ", "_ -")


def in_names(file: str, places: Sequence[dict[str, str]]) -> Iterator[SourceColumn]:
    """One text a row: the parts of the names between their blanks that differ from file to file, or the whole name."""
    for origin in (FILE_NAME, FOLDER):
        names = [place.get(origin, "") for place in places]
        if len(set(names)) > 1 and all(names):
            yield from _parts(file, origin, names)


def _parts(file: str, origin: str, names: list[str]) -> Iterator[SourceColumn]:
    for apart in _APART:
        parted = [re.split(f"[{apart}]+", name) for name in names]
        n_parts = len(parted[0])
        if n_parts == 1 or any(len(parts) != n_parts for parts in parted):
            continue
        for at, cells in enumerate(zip(*parted, strict=True)):
            if len(set(cells)) > 1:
                pattern = "^" + f"[^{apart}]+[{apart}]+" * at + f"([^{apart}]+)"
                yield SourceColumn(file, f"{origin} part {at + 1}", cells, origin=origin, pattern=pattern)
        return
    yield SourceColumn(file, origin, tuple(names), origin=origin)

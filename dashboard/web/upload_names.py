"""Names of files that came from outside: only ever shown and matched."""

import os
import re
import shutil
import unicodedata
from collections.abc import Iterable
from pathlib import Path
from typing import Final

from etl.read import READABLE

_LONGEST_NAME: Final = 100


def shown_name(given: str | None) -> str:
    """A file's name as it may be shown and matched: its last part, on one line, of bounded length."""
    last = re.split(r"[/\\]", given or "")[-1]
    name = "".join(sign for sign in unicodedata.normalize("NFC", last) if sign.isprintable()).strip(" .")
    if len(name) > _LONGEST_NAME:
        name = f"{name[:70]}…{name[-25:]}"
    return name or "unnamed"


def unlike(name: str, taken: set[str]) -> str:
    """The name, numbered where a file of that name is there already; `taken` holds names in lower case."""
    stem, dot, form = name.partition(".")
    number, numbered = 2, name
    while numbered.lower() in taken:
        numbered = f"{stem}-{number}{dot}{form}"
        number += 1
    return numbered


def form_of(name: str) -> str:
    """The ending of one of the forms that are read, never one from outside."""
    return next((form for form in sorted(READABLE, key=len, reverse=True) if name.lower().endswith(form)), ".bin")


def by_name(work: Path, files: Iterable[tuple[str, Path]]) -> Path:
    """A folder within `work` in which files lie under the names that they are called by."""
    folder = work / "by-name"
    folder.mkdir(exist_ok=True)
    for name, path in files:
        place = folder / name
        if not place.exists():
            place.parent.mkdir(parents=True, exist_ok=True)
            try:
                os.link(path, place)
            except OSError:  # a folder of another disk
                shutil.copyfile(path, place)
    return folder

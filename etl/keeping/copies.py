"""The copies of a warehouse that the program made: backups, and warehouses that a restored one replaced.

They stand in a file beside the warehouse, one line a copy, so that forgetting a rider reaches them.
"""

import json
import os
from collections.abc import Collection
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Literal

from etl.keeping.spelling import Speller
from shared.files import OWNER_ONLY, beside

Kind = Literal["backup", "replaced", "gone", "working"]


@dataclass(frozen=True)
class Copy:
    """A copy by its whole path; `kind` tells a packed backup from a plain warehouse file, and one that was not finished.
    `working`: a folder elsewhere in which something is written from the warehouse now, or was when its program was killed."""

    path: Path
    kind: Kind
    made_at: str


def ledger_of(warehouse: Path) -> Path:
    """The file that lists the copies of this warehouse."""
    return beside(warehouse, ".copies")


def note_copy(warehouse: Path, copy: Path, kind: Kind, made_at: str = "") -> None:
    """Adds a copy to the list; call before it is made, so that no copy is unknown."""
    noted = Copy(copy.resolve(), kind, made_at or stamp())
    line = json.dumps({**asdict(noted), "path": str(noted.path)}) + "\n"
    # One write in append mode: two backups at the same time do not mix their lines.
    handle = os.open(ledger_of(warehouse), os.O_WRONLY | os.O_CREAT | os.O_APPEND, OWNER_ONLY)
    try:
        os.write(handle, line.encode())
    finally:
        os.close(handle)


def known_copies(warehouse: Path) -> list[Copy]:
    """Every copy that was noted, also where it was moved or deleted since; each path once, as it was noted last."""
    return [copy for copy in _noted(warehouse) if copy.kind != "working"]


def working_places(warehouse: Path) -> list[Path]:
    """The folders elsewhere in which something is written, or was when its program was killed."""
    return [copy.path for copy in _noted(warehouse) if copy.kind == "working"]


def _noted(warehouse: Path) -> list[Copy]:
    ledger = ledger_of(warehouse)
    if not ledger.exists():
        return []
    rows = [json.loads(line) for line in ledger.read_text(encoding="utf-8").splitlines() if line.strip()]
    copies = [Copy(Path(row["path"]), row["kind"], row["made_at"]) for row in rows]
    return [copy for copy in {copy.path: copy for copy in copies}.values() if copy.kind != "gone"]


def why_missing(copy: Copy) -> str:
    """Why a copy is not where it was noted; empty where it is."""
    if copy.path.is_file():
        return ""
    return "it was deleted or moved" if copy.path.parent.is_dir() else "its folder is not there; connect the disk and run again"


def rename_copies(warehouse: Path, speller: Speller) -> None:
    """Gives a copy another name whose own names one of the ids; where that name is taken, it stays and is told."""
    for copy in known_copies(warehouse):
        new = copy.path.with_name(speller.without(copy.path.name, lambda _: False, is_prose=False))
        if new != copy.path and copy.path.is_file() and not new.exists():
            note_copy(warehouse, new, copy.kind, copy.made_at)
            copy.path.rename(new)
            note_copy(warehouse, copy.path, "gone")


def forget_in_ledger(warehouse: Path, speller: Speller) -> None:
    """Takes out of the list what is no longer where it was made and whose name names one of the ids.

    A line becomes blanks in its place, so that what another program adds meanwhile stays.
    """
    ledger = ledger_of(warehouse)
    if not ledger.is_file():
        return
    there = {copy.path for copy in known_copies(warehouse) if copy.path.exists() or not copy.path.parent.is_dir()}
    with ledger.open("rb+") as file:
        start = 0
        for line in file.read().splitlines(keepends=True):
            if line.strip() and _is_to_forget(line, there, speller):
                file.seek(start)
                file.write(b" " * (len(line) - 1))
            start += len(line)


def _is_to_forget(line: bytes, there: Collection[Path], speller: Speller) -> bool:
    path = Path(json.loads(line)["path"])
    return path not in there and speller.names(path.name)


def stamp() -> str:
    """This moment in UTC, fit for a file's name."""
    return datetime.now(UTC).strftime("%Y%m%dT%H%M%SZ")

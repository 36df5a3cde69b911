"""The copies of a warehouse that the program made: backups, and warehouses that a restored one replaced.

They stand in a file beside the warehouse, one line a copy, so that forgetting a rider reaches them.
"""

import json
import os
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Literal

from shared.files import OWNER_ONLY, beside

Kind = Literal["backup", "replaced", "gone"]


@dataclass(frozen=True)
class Copy:
    """A copy by its whole path; `kind` tells a packed backup from a plain warehouse file, and one that was not finished."""

    path: Path
    kind: Kind
    made_at: str


def ledger_of(warehouse: Path) -> Path:
    """The file that lists the copies of this warehouse."""
    return beside(warehouse, ".copies")


def note_copy(warehouse: Path, copy: Path, kind: Kind) -> None:
    """Adds a copy to the list; call before it is made, so that no copy is unknown."""
    noted = Copy(copy.resolve(), kind, stamp())
    line = json.dumps({**asdict(noted), "path": str(noted.path)}) + "\n"
    # One write in append mode: two backups at the same time do not mix their lines.
    handle = os.open(ledger_of(warehouse), os.O_WRONLY | os.O_CREAT | os.O_APPEND, OWNER_ONLY)
    try:
        os.write(handle, line.encode())
    finally:
        os.close(handle)


def known_copies(warehouse: Path) -> list[Copy]:
    """Every copy that was noted, also where it was moved or deleted since; each path once, as it was noted last."""
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


def stamp() -> str:
    """This moment in UTC, fit for a file's name."""
    return datetime.now(UTC).strftime("%Y%m%dT%H%M%SZ")

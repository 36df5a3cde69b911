"""What doctor looks at where encryption is concerned: the key, the extension, the warehouse and its copies."""

from collections.abc import Iterator
from pathlib import Path
from typing import Literal

from etl.keeping.backup import read_manifest
from etl.keeping.copies import Copy, known_copies
from etl.keeping.encrypt import key_of
from shared.encryption import is_plain
from shared.errors import FitledgerError
from shared.keys import KeyPlace, Keys, place_in_force
from shared.warehouse import require_encryption

# As doctor's own checks: a state, what was found, and what to do.
StateWordsTodo = tuple[Literal["fine", "note", "do"], str, str]


def encryption_checks(warehouse: Path) -> Iterator[StateWordsTodo]:
    """Every check of encryption; nothing is changed and no key is told."""
    try:
        place = place_in_force()
        keys = place.read() if place else None
    except FitledgerError as fault:
        yield "do", str(fault), "Put the key in order, as the sentence says."
        return
    if place is None:
        if is_plain(warehouse):
            todo = "Run fitledger encrypt, or be sure that the disk and the places of the backups are encrypted."
            yield "note", f"{warehouse} is not encrypted: whoever gets the file can read it.", todo
        return
    if keys is None:
        todo = "Put it back from the place where you keep a copy of it; where nothing is encrypted yet, run fitledger encrypt."
        yield "do", f"{place.words}: the key is not there.", todo
        return
    older = f"; {len(keys.older)} older beside it, for copies" if keys.older else ""
    yield "fine", f"key {keys.present.id} lies in {place.words}, its owner's alone{older}.", ""
    yield from _extension()
    yield from _warehouse(warehouse, keys)
    copies = [copy for copy in known_copies(warehouse) if copy.path.is_file()]
    yield from _copies(copies, keys)
    yield from _beside(place, warehouse, copies)


def _extension() -> Iterator[StateWordsTodo]:
    try:
        require_encryption()
    except FitledgerError as fault:
        yield "do", str(fault), "Until then the warehouse can be read and not loaded."
    else:
        yield "fine", "what encrypts is installed.", ""


def _warehouse(warehouse: Path, keys: Keys) -> Iterator[StateWordsTodo]:
    try:
        key = key_of(warehouse)
    except FitledgerError:
        return  # told of the warehouse itself
    if key is None:
        if warehouse.exists():
            yield "do", f"{warehouse} is NOT encrypted, though a key is set.", f"Run fitledger encrypt --warehouse {warehouse}."
    elif key != keys.present:
        words = f"{warehouse} is encrypted with the older key {key.id}: a change of keys was not finished."
        yield "do", words, f"Run fitledger encrypt --warehouse {warehouse}."
    else:
        yield "fine", f"{warehouse} is encrypted with it.", ""


def _copies(copies: list[Copy], keys: Keys) -> Iterator[StateWordsTodo]:
    known = {key.id for key in keys.older}
    n_fine = 0
    for copy in copies:
        try:
            key_id = _key_id(copy)
        except FitledgerError as fault:
            yield "do", f"{copy.path}: {fault}", "Look at this copy."
            continue
        if key_id == keys.present.id:
            n_fine += 1
        elif key_id is None:
            yield "do", f"{copy.path} is NOT encrypted.", "Run fitledger encrypt, or delete that copy."
        elif key_id in known:
            yield "do", f"{copy.path} is encrypted with the older key {key_id}.", "Run fitledger encrypt."
        else:
            words = f"{copy.path} is encrypted with key {key_id}, which is not there: nobody can read this copy without it."
            yield "do", words, "Put that key back as a further line of the key file, or delete the copy."
    if n_fine:
        yield "fine", f"{n_fine} cop{'y is' if n_fine == 1 else 'ies are'} encrypted with it.", ""


def _key_id(copy: Copy) -> str | None:
    if copy.kind == "backup":
        return read_manifest(copy.path).key_id
    key = key_of(copy.path)
    return key.id if key else None


def _beside(place: KeyPlace, warehouse: Path, copies: list[Copy]) -> Iterator[StateWordsTodo]:
    if place.path is None:
        return
    folder = place.path.resolve().parent
    todo = "Move it to another place, best another disk, and name that in fitledger.toml ([encryption] key_file)."
    if any(copy.kind == "backup" and copy.path.resolve().parent == folder for copy in copies):
        yield "do", f"the key lies in the folder of the backups, {folder}: whoever gets the folder can read them.", todo
    elif warehouse.resolve().parent == folder:
        yield "note", f"the key lies beside the warehouse, in {folder}: whoever gets the folder can read it.", todo

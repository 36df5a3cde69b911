"""Encrypts a warehouse and its copies, gives them a new key, or takes the encryption off; each file in one step.

Killed at any moment, each file is as it was or done, and the keys that open it are where they were named: run again, the
rest is done.
"""

import dataclasses
from dataclasses import dataclass, field
from pathlib import Path

from etl.keeping.backup import describe, pack, read_manifest, refuse_unfinished, unpack
from etl.keeping.copies import Copy, known_copies, why_missing
from shared.encryption import is_plain
from shared.errors import FitledgerError, UsageError
from shared.files import held, put_in_place
from shared.keys import Key, KeyPlace, Keys, in_force, keys_in_force, new_key, place_in_force
from shared.lakes.places import refuse_lake
from shared.rewriting import write_anew
from shared.settings import settings_file
from shared.settings_edit import drop_encryption, set_encryption
from shared.warehouse import open_reading, require_encryption
from shared.working import working


@dataclass
class Sealed:
    """What was done: `key` is the one in use now (None: nothing is encrypted), which was made now where `is_new`.

    `is_written`: the warehouse was written anew, which it is not where it was under this key already or is not there yet;
    `was_plain`: it was not encrypted before.
    `done` and `unreached` are copies, the latter with the reason. `n_older` keys were kept for those.
    """

    key: Key | None
    is_new: bool = False
    is_written: bool = False
    was_plain: bool = False
    done: list[Path] = field(default_factory=list)
    unreached: dict[Path, str] = field(default_factory=dict)
    n_older: int = 0


def place_for(key_file: Path | None, keyring: str) -> KeyPlace:
    """Where the keys shall lie: as it was named now, or as environment or settings name it.

    Raises UsageError where no place or another one is named.
    """
    present = place_in_force()
    named = KeyPlace(key_file.absolute()) if key_file else KeyPlace(None, keyring) if keyring else None
    if present is None and named is None:
        raise UsageError(
            "Say where the key shall lie: --key-file FILE, best on another disk than the warehouse and its backups, or "
            "--keyring, the keyring of this system."
        )
    if present and named and not present.is_same(named):
        raise UsageError(
            f"The key lies in {present.words} already, and {named.words} was named. Nothing was changed. To move it, move the "
            f"key itself, then name its new place in {settings_file()} ([encryption])."
        )
    return present or named  # type: ignore[return-value] # one of the two is there


def encrypt(warehouse: Path, place: KeyPlace, *, rotate: bool = False, wait_seconds: float = 0) -> Sealed:
    """Brings the warehouse and every copy of it that can be reached under the key in use, which is made where there is none.

    With `rotate` a new key comes into use first; the older ones stay where a copy could not be reached. The settings name the
    place of the key afterwards, where they or the environment did not before.
    Raises WarehouseKeyError where the key cannot be read or written, WarehouseError where the extension that encrypts is not
    installed, the warehouse cannot be written or another program holds it.
    """
    refuse_lake(warehouse, "is not encrypted", "Keep its folder and catalogue on encrypted disks, or use one file.")
    require_encryption()
    keys = place.read()
    is_new = keys is None
    if keys is None:
        keys = Keys(new_key())
        place.write(keys)
    with held(warehouse, wait_seconds), in_force(place):
        if rotate and not is_new and key_of(warehouse) in (keys.present, None):
            # Of a rotation that was killed the new key is in use already, and only what it did not reach is done now.
            keys, is_new = keys.with_new(), True
            place.write(keys)
        sealed = Sealed(keys.present, is_new, was_plain=is_plain(warehouse))
        sealed.is_written = _bring(warehouse, keys.present)
    if place_in_force() is None:
        name, value = ("key_file", str(place.path)) if place.path else ("keyring", place.entry)
        set_encryption(settings_file(), name, value)
    _bring_copies(warehouse, keys.present, sealed)
    if keys.older and not sealed.unreached:
        place.write(keys.only(()))
    sealed.n_older = len(keys.older) if sealed.unreached else 0
    return sealed


def decrypt(warehouse: Path, *, wait_seconds: float = 0) -> Sealed:
    """Takes the encryption off the warehouse and every copy that can be reached, and its place out of the settings.

    The keys stay where they are. Raises UsageError where no key is set, and as `encrypt`.
    """
    place = place_in_force()
    if place is None:
        raise UsageError(f"{warehouse}: no key is set, so that nothing is encrypted here. Nothing was changed.")
    sealed = Sealed(None)
    with held(warehouse, wait_seconds), in_force(place):
        sealed.is_written = _bring(warehouse, None)
    with in_force(place):
        _bring_copies(warehouse, None, sealed)
    drop_encryption(settings_file())
    return sealed


def _bring(warehouse: Path, key: Key | None) -> bool:
    """Writes the warehouse anew under the key, if it is there and under another one; whether it was."""
    if not warehouse.exists() or key_of(warehouse) == key:
        return False
    refuse_unfinished(warehouse)
    with working(warehouse.parent) as folder:
        write_anew(warehouse, key, folder)
    return True


def key_of(file: Path) -> Key | None:
    """The key that a warehouse file is encrypted with; None where it is not, or is not there."""
    if not file.exists():
        return None
    opened = open_reading(file, may_be_older=True, may_be_plain=True)
    opened.close()
    return opened.key


def bring_under_key(file: Path, folder: Path) -> None:
    """Writes an unpacked copy anew under the key in use, where it is under an older one or not encrypted.

    `folder` is a working folder on the same disk.
    """
    keys = keys_in_force()
    if keys and key_of(file) != keys.present:
        write_anew(file, keys.present, folder)


def _bring_copies(warehouse: Path, key: Key | None, sealed: Sealed) -> None:
    for copy in known_copies(warehouse):
        try:
            if reason := why_missing(copy):
                sealed.unreached[copy.path] = reason
            elif _bring_copy(copy, key):
                sealed.done.append(copy.path)
        except (FitledgerError, OSError) as fault:
            sealed.unreached[copy.path] = str(fault)


def _bring_copy(copy: Copy, key: Key | None) -> bool:
    """Writes one copy anew under the key, if it is under another one; whether it was."""
    if copy.kind != "backup":
        return _bring(copy.path, key)
    manifest = read_manifest(copy.path)
    if manifest.key_id == (key.id if key else None):
        return False
    with working(copy.path.parent) as folder:
        file = folder / "w.duckdb"
        unpack(copy.path, manifest, file)
        write_anew(file, key, folder)
        made_anew = dataclasses.replace(describe(file), made_at=manifest.made_at)
        put_in_place(pack(file, made_anew, folder), copy.path)
    return True

"""The keys that the warehouse, its working copies and its backups are encrypted with: where they lie and what they are.

Keys lie in a file of their own or in the system's keyring, never in the settings, which name the place only (`[encryption]`);
the variable FITLEDGER_KEY_FILE names a file too, and goes before them. The first key is in use; older ones stay as long as
a copy needs them.
"""

import base64
import binascii
import hashlib
import os
import re
import secrets
import stat
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from shared.errors import UsageError, WarehouseKeyError
from shared.files import write_in_place
from shared.settings import load_settings, settings_file

KEY_FILE_VARIABLE = "FITLEDGER_KEY_FILE"
# The service under which the system's keyring lists our entry.
KEYRING_SERVICE = "fitledger"
KEY_BYTES = 32
_A_KEY = re.compile(r"[A-Za-z0-9+/]{43}=")
_HEAD = (
    "# Keys of a fitledger warehouse; the first one is in use. Whoever has this file can read the warehouse and its backups,",
    "# and without it nobody can: keep a copy in another place, and not beside the backups.",
)


@dataclass(frozen=True)
class Key:
    """One key as base64; `id` tells it from others and tells nothing of it."""

    text: str = field(repr=False)

    @property
    def id(self) -> str:
        """Eight hexadecimal digits: a hash (BLAKE2b) of the key."""
        return hashlib.blake2b(base64.b64decode(self.text), digest_size=4, person=b"fitledger key").hexdigest()


@dataclass(frozen=True)
class Keys:
    """The key in use, and the older ones that copies may still need, newest first."""

    present: Key
    older: tuple[Key, ...] = ()

    @property
    def all(self) -> tuple[Key, ...]:
        return (self.present, *self.older)

    def with_new(self) -> "Keys":
        """A fresh key in use, and all of these as older ones."""
        return Keys(new_key(), self.all)

    def only(self, needed: Iterable[str]) -> "Keys":
        """The key in use, and of the older ones those whose ids are needed."""
        wanted = set(needed)
        return Keys(self.present, tuple(key for key in self.older if key.id in wanted))


def new_key() -> Key:
    """32 bytes from the system's source of chance."""
    return Key(base64.b64encode(secrets.token_bytes(KEY_BYTES)).decode())


@dataclass(frozen=True)
class KeyPlace:
    """Where keys lie: in the file `path`, or, where that is None, in the entry `entry` of the system's keyring."""

    path: Path | None
    entry: str = ""

    @property
    def words(self) -> str:
        return str(self.path) if self.path else f"the system's keyring (entry {self.entry} of {KEYRING_SERVICE})"

    def is_same(self, other: "KeyPlace") -> bool:
        """Whether both are the same file or the same entry."""
        return self.words == other.words or bool(self.path and other.path and self.path.resolve() == other.path.resolve())

    def read(self) -> Keys | None:
        """The keys that lie there; None where none do.

        Raises WarehouseKeyError where the place cannot be read, holds no key, or others may read it.
        """
        text = _file_text(self.path) if self.path else _keyring_text(self.entry)
        return None if text is None else self._keys(text)

    def write(self, keys: Keys) -> None:
        """Puts the keys there, all or none. Raises WarehouseKeyError where the place cannot be written."""
        lines = [key.text for key in keys.all]
        if self.path is None:
            _put_into_keyring(self.entry, "\n".join(lines))
            return
        try:
            self.path.parent.mkdir(parents=True, exist_ok=True)
            write_in_place(self.path, ("\n".join([*_HEAD, *lines]) + "\n").encode())
        except OSError as fault:
            raise WarehouseKeyError(
                f"{self.path}: the key could not be written ({fault.strerror or fault}). Nothing was changed. Name a file in a "
                "folder that you may write to."
            ) from fault

    def _keys(self, text: str) -> Keys:
        lines = [line.strip() for line in text.splitlines() if line.strip() and not line.startswith("#")]
        if not lines:
            raise WarehouseKeyError(
                f"{self.words}: there is no key in it. Put back the key as it was, from the place where you keep a copy of it."
            )
        if not all(_is_key(line) for line in lines):
            raise WarehouseKeyError(
                f"{self.words}: what stands there is no key of fitledger (expected {KEY_BYTES} bytes as base64, a key a line). "
                "Put back the key as it was, from the place where you keep a copy of it."
            )
        return Keys(Key(lines[0]), tuple(Key(line) for line in lines[1:]))


class _Named:
    """The place that is in force for as long as a block runs; None where environment and settings name it."""

    place: KeyPlace | None = None


@contextmanager
def in_force(place: KeyPlace) -> Iterator[None]:
    """The keys of this place are those of the run while the block runs, whatever environment and settings name."""
    _Named.place = place
    try:
        yield
    finally:
        _Named.place = None


def place_in_force() -> KeyPlace | None:
    """Where the keys of this run lie, as the environment or the settings name it; None where nothing is encrypted.

    Raises UsageError where the settings cannot be read or hold a key in place of its file's name.
    """
    if _Named.place:
        return _Named.place
    if named := os.environ.get(KEY_FILE_VARIABLE):
        return place_of(key_file=named, named_by=f"The variable {KEY_FILE_VARIABLE}")
    encryption = load_settings().encryption
    # As it is written: a path would leave out one of two slashes in a row, which a key may have.
    _refuse_a_key(encryption.key_file, named_by=f"Settings file {settings_file()}")
    file = encryption.key_file and str(settings_file().parent / Path(encryption.key_file).expanduser())
    return place_of(key_file=file, keyring=encryption.keyring, named_by=f"Settings file {settings_file()}")


def _refuse_a_key(*names: str, named_by: str) -> None:
    if any(map(_A_KEY.search, names)):
        raise UsageError(
            f"{named_by} holds a key itself, where the name of its place is expected. A key that stood there is no secret any "
            "more: put it into a file of its own (mode 600), name that file, and run fitledger encrypt --rotate."
        )


def place_of(*, key_file: str = "", keyring: str = "", named_by: str = "The call") -> KeyPlace | None:
    """The place that a file's name or a keyring's entry names. Raises UsageError where the name is itself a key."""
    _refuse_a_key(key_file, keyring, named_by=named_by)
    if key_file:
        return KeyPlace(Path(key_file))
    return KeyPlace(None, keyring) if keyring else None


def keys_in_force() -> Keys | None:
    """The keys of this run; None where none are set.

    Raises WarehouseKeyError where a place is named and holds no key that may be used.
    """
    place = place_in_force()
    if place is None:
        return None
    keys = place.read()
    if keys is None:
        raise WarehouseKeyError(
            f"{place.words}: the key is not there. Put it back, from the place where you keep a copy of it; where the "
            "warehouse is not encrypted yet, fitledger encrypt makes one."
        )
    return keys


def key_of_new_files() -> Key | None:
    """What a new file is encrypted with; None where no key is set."""
    keys = keys_in_force()
    return keys.present if keys else None


def _file_text(path: Path) -> str | None:
    try:
        mode = stat.S_IMODE(path.stat().st_mode)
        # Elsewhere the rights are no bits of the mode.
        if os.name == "posix" and mode & (stat.S_IRWXG | stat.S_IRWXO):
            raise WarehouseKeyError(
                f"{path}: others than its owner may use this key (mode {mode:o}). Nothing was opened. Run chmod 600 {path}, "
                "and fitledger encrypt --rotate where somebody may have read it."
            )
        return path.read_text(encoding="ascii")
    except FileNotFoundError:
        return None
    except (OSError, UnicodeDecodeError) as fault:
        reason = fault.strerror if isinstance(fault, OSError) and fault.strerror else "it is no text"
        raise WarehouseKeyError(
            f"{path}: the key cannot be read ({reason}). Give this user the right to read it, or put back the file as it was."
        ) from fault


def _is_key(line: str) -> bool:
    try:
        return len(base64.b64decode(line, validate=True)) == KEY_BYTES
    except binascii.Error:
        return False


def _keyring_text(entry: str) -> str | None:
    keyring, faults = _keyring()
    try:
        key_text: str | None = keyring.get_password(KEYRING_SERVICE, entry)
    except faults as fault:
        raise _no_keyring(fault) from fault
    return key_text


def _put_into_keyring(entry: str, text: str) -> None:
    keyring, faults = _keyring()
    try:
        keyring.set_password(KEYRING_SERVICE, entry, text)
    except faults as fault:
        raise _no_keyring(fault) from fault


def _keyring() -> tuple[Any, type[Exception]]:
    """The library and its base of faults. Raises WarehouseKeyError where it is not installed."""
    try:
        import keyring
        import keyring.errors
    except ImportError as fault:
        raise WarehouseKeyError(
            "The key lies in the system's keyring, and the package that reads it is not installed. Run pip install "
            "'fitledger[keyring]', or keep the key in a file ([encryption] key_file)."
        ) from fault
    return keyring, keyring.errors.KeyringError


def _no_keyring(fault: Exception) -> WarehouseKeyError:
    return WarehouseKeyError(
        f"The system's keyring did not answer ({type(fault).__name__}). Unlock it, or keep the key in a file "
        "([encryption] key_file): a service without a desktop has no keyring as a rule."
    )

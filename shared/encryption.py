"""Encrypted DuckDB files: what tells one, the extension that writes them, and attaching one under the right key.

DuckDB encrypts a file's blocks and its write-ahead log with AES-256 in Galois/counter mode, and checks each block as it reads
it. It reads such files by itself; it writes them through the OpenSSL of its extension httpfs only, which is taken from an
installed Python package, never from the network. A key is always a bound value, never a part of a statement's text.
"""

from collections.abc import Callable
from pathlib import Path

from shared import extensions
from shared.errors import WarehouseBusyError, WarehouseError, WarehouseKeyError
from shared.keys import Key, keys_in_force, place_in_force

EXTENSION_PACKAGE = extensions.package_of("httpfs")
# From this size on a file is read faster through OpenSSL than by DuckDB alone, though the extension takes 75 ms to load.
FAST_READING_FROM_BYTES = 20_000_000
_CHANGED = ("without a key", "is not encrypted")
_WRONG_KEY = "Wrong encryption key"


def is_encrypted(path: Path) -> bool:
    """Whether the file is an encrypted DuckDB file."""
    return bool(_flags(path) or 0)


def is_plain(path: Path) -> bool:
    """Whether the file is a DuckDB file that is not encrypted."""
    return _flags(path) == 0


def _flags(path: Path) -> int | None:
    """The flag of encryption in the header of a DuckDB file; None where there is no file or it is another one."""
    if not path.is_file():
        return None
    with path.open("rb") as file:
        head = file.read(28)  # checksum (8 bytes), the letters DUCK, version (8), flags (8)
    return int.from_bytes(head[20:28], "little") & 1 if head[8:12] == b"DUCK" else None


def extension_file(duckdb_version: str) -> Path | None:
    """The extension that encrypts, for this DuckDB; None where it is not installed."""
    return extensions.extension_file("httpfs", duckdb_version)


def no_extension(duckdb_version: str) -> WarehouseError:
    """What is told where the extension is needed and not installed."""
    return WarehouseError(
        f"Writing an encrypted warehouse needs the package {EXTENSION_PACKAGE} for DuckDB {duckdb_version}, which is not "
        "installed (reading needs nothing). Nothing was changed. Run pip install 'fitledger[encrypt]'; where there is none "
        "for this DuckDB yet, install the DuckDB of requirements.lock."
    )


def keys_for(path: Path, *, may_be_plain: bool = False) -> tuple[Key | None, ...]:
    """The keys to try on a file that is there: None alone for one that is not encrypted.

    Raises WarehouseKeyError where it is encrypted and no key is set, or is not and should be (unless it `may_be_plain`).
    """
    if not is_encrypted(path):
        if not may_be_plain and is_plain(path) and (place := place_in_force()):
            raise WarehouseKeyError(
                f"{path}: this file is NOT encrypted, and a key is set ({place.words}). Nothing was opened. Run "
                f"fitledger encrypt --warehouse {path}, or take the key out of the settings."
            )
        return (None,)
    keys = keys_in_force()
    if keys is None:
        raise WarehouseKeyError(
            f"{path}: this file is encrypted, and no key is set. Name the place of its key in fitledger.toml ([encryption] "
            'key_file = "…"), where this command finds it; without the key nobody can read the file.'
        )
    return keys.all


def first_that_fits(path: Path, keys: tuple[Key | None, ...], attach: Callable[[Key | None], object]) -> Key | None:
    """Calls `attach` with one key after the other until one fits, and returns that one.

    Raises WarehouseKeyError where none fits, and whatever else `attach` raises.
    """
    for key in keys:
        try:
            attach(key)
        except Exception as fault:
            if any(sign in str(fault) for sign in _CHANGED):
                raise WarehouseBusyError(
                    f"{path}: this file was encrypted or decrypted at this very moment. Try again."
                ) from fault
            if _WRONG_KEY not in str(fault):
                raise
        else:
            return key
    place = place_in_force()
    tried = " or ".join(key.id for key in keys if key)
    raise WarehouseKeyError(
        f"{path}: this file was encrypted with another key than {tried}, which {place.words if place else 'was given'} holds. "
        "Nothing was changed. Put back the key that it was encrypted with; without that key nobody can read the file."
    )

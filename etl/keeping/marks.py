"""Marks of forgotten ids: keyed hashes, so that a later load knows a forgotten rider again and nobody can read who it was.

The key lies in a file of its own beside the warehouse and is in no backup: the marks alone, without it, tell nothing.
"""

import hashlib
import secrets
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from shared.errors import WarehouseError
from shared.files import beside, write_in_place
from shared.warehouse import LoadingWarehouse, Warehouse

# What is marked with every key, to know the key again.
_CHECK = "the key of this warehouse"


@dataclass(frozen=True)
class Marks:
    """The key, the salts in use and every mark in force, each with the rider's mark that it belongs to."""

    key: bytes
    salts: tuple[str, ...]
    rider_of: dict[str, str]

    def of(self, word: str) -> str:
        """The mark that a newly forgotten id gets."""
        return _mark(self.key, self.salts[0], word)

    def rider_mark(self, word: str) -> str | None:
        """The mark of the forgotten rider to whom this id belongs; None where it is not forgotten."""
        marks = (_mark(self.key, salt, word) for salt in self.salts)
        return next((self.rider_of[mark] for mark in marks if mark in self.rider_of), None)

    def known(self, words: Iterable[str]) -> dict[str, str]:
        """Those of the ids that are forgotten, each with its rider's mark."""
        return {word: mark for word in words if (mark := self.rider_mark(word)) is not None}


def key_file(home: Path) -> Path:
    """Where the key of the warehouse at `home` lies."""
    return beside(home, ".key")


def marks_of(warehouse: Warehouse, home: Path) -> Marks | None:
    """The marks in an open warehouse, whose key lies beside `home`; None where nobody was forgotten.

    Raises WarehouseError where the key is missing or another one.
    """
    rows = warehouse.rows("SELECT rider_mark, mark, salt FROM raw.forgotten")
    if not rows:
        return None
    salts = tuple(dict.fromkeys(row["salt"] for row in rows))
    rider_of = {row["mark"]: row["rider_mark"] for row in rows}
    key = _read(home)
    checks = {_mark(key, salt, _CHECK) for salt in salts} if key else set()
    if key is None or not checks <= rider_of.keys():
        state = "is missing" if key is None else "is another one"
        raise WarehouseError(
            f"{home}: riders were forgotten here, and the key that knows them again, {key_file(home).name}, {state}. Nothing "
            "was changed. Put that file back beside the warehouse, from the place that the warehouse came from; where it is "
            "lost, fitledger forget --allow-all-again lets every rider be loaded again."
        )
    return Marks(key, salts, {mark: rider for mark, rider in rider_of.items() if mark not in checks})


def begin_marks(warehouse: LoadingWarehouse, home: Path) -> Marks:
    """The marks in force, or those of a warehouse in which nobody was forgotten yet; the key is made where there is none."""
    present = marks_of(warehouse, home)
    if present:
        return present
    key = _read(home)
    if key is None:
        key = secrets.token_bytes(32)
        write_in_place(key_file(home), key.hex().encode() + b"\n")
    return Marks(key, (secrets.token_hex(8),), {})


def add_marks(warehouse: LoadingWarehouse, marks: Marks, rider_mark: str, words: Iterable[str], today: date) -> None:
    """Keeps the marks of ids that belong to a forgotten rider."""
    check = marks.of(_CHECK)
    pairs = {check: check, **{marks.of(word): rider_mark for word in words}}
    held = {row["mark"] for row in warehouse.rows("SELECT mark FROM raw.forgotten")}
    for mark, rider in pairs.items():
        if mark not in held:
            values = {"rider": rider, "mark": mark, "salt": marks.salts[0], "today": today}
            warehouse.run("INSERT INTO raw.forgotten VALUES ($rider, $mark, $salt, $today)", values)


def carry_marks(source: Warehouse, target: LoadingWarehouse) -> None:
    """Adds the marks of one warehouse to another, which has the same key."""
    held = {row["mark"] for row in target.rows("SELECT mark FROM raw.forgotten")}
    for row in source.rows("SELECT rider_mark, mark, salt, forgotten_on FROM raw.forgotten"):
        if row["mark"] not in held:
            target.run("INSERT INTO raw.forgotten VALUES ($rider_mark, $mark, $salt, $forgotten_on)", row)


def _read(home: Path) -> bytes | None:
    try:
        return bytes.fromhex(key_file(home).read_text(encoding="ascii").strip())
    except FileNotFoundError:
        return None
    except (OSError, ValueError) as fault:
        raise WarehouseError(
            f"{key_file(home)}: this key cannot be read ({fault}). Nothing was changed. Put back the file as it was."
        ) from fault


def _mark(key: bytes, salt: str, word: str) -> str:
    hashed = hashlib.blake2b(word.encode(), digest_size=16, key=key, salt=bytes.fromhex(salt), person=b"fitledger id")
    return hashed.hexdigest()

"""The accounts of one warehouse, in a file beside it that its owner alone may read: names, roles, hashed passwords.

Passwords are hashed with Argon2id by argon2-cffi's defaults (RFC 9106, second recommended set).
"""

import json
import re
import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any, Final

import argon2
import filelock
from argon2.exceptions import InvalidHashError, VerificationError

from dashboard.guard import LOOPBACK
from dashboard.questions.readers import ACCOUNT_ROLES, Reader, Role
from shared.errors import AccountError
from shared.files import beside, write_in_place

SHORTEST_PASSWORD: Final = 12
LONGEST_PASSWORD: Final = 256
_NAME: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9._@-]{0,63}")
_VERSION: Final = 1


@dataclass(frozen=True)
class Account:
    """One account. `stamp` is part of every session: a new one ends those that were opened with the old."""

    name: str
    role: Role
    fitter_id: str | None
    password_hash: str
    stamp: str

    @property
    def reader(self) -> Reader:
        return Reader(self.name, self.role, self.fitter_id)


class Accounts:
    """The accounts file of the warehouse at `path`. Read anew whenever it changed, so that a removal takes effect at once."""

    def __init__(self, path: Path) -> None:
        self.file = beside(path, ".accounts.json")
        self._hasher = argon2.PasswordHasher()
        self._read: tuple[tuple[int, int] | None, dict[str, Any]] = (None, _empty())
        # Verified where no such account exists, so that the answer takes as long.
        self._nobody = self._hasher.hash(secrets.token_urlsafe())

    def all(self) -> tuple[Account, ...]:
        """Every account by name. Raises AccountError where the file cannot be used."""
        return tuple(_account(one) for one in self._content()["accounts"])

    def find(self, name: str) -> Account | None:
        return next((account for account in self.all() if account.name == name.lower()), None)

    @property
    def secret(self) -> bytes:
        """The key that signs sessions; made with the file."""
        return bytes.fromhex(self._content()["secret"])

    def add(self, name: str, role: str, password: str, fitter_id: str | None = None) -> Account:
        """Adds an account. Raises AccountError for a name, role, fitter or password that will not do."""
        account = Account(
            _checked_name(name),
            _checked_role(role, fitter_id),
            fitter_id,
            self._hasher.hash(_checked_password(password)),
            secrets.token_hex(16),
        )
        with self._changing() as content:
            if any(one["name"] == account.name for one in content["accounts"]):
                raise AccountError(f"{account.name}: there is an account of this name. Choose another, or reset its password.")
            content["accounts"].append(asdict(account))
        return account

    def remove(self, name: str) -> None:
        """Removes an account and ends its sessions. Raises AccountError where there is none."""
        with self._changing() as content:
            content["accounts"].remove(_found(content, name))

    def reset(self, name: str, password: str) -> None:
        """Gives an account another password and ends its sessions. Raises AccountError where there is none."""
        hashed = self._hasher.hash(_checked_password(password))
        with self._changing() as content:
            _found(content, name).update(password_hash=hashed, stamp=secrets.token_hex(16))

    def verify(self, name: str, password: str) -> Account | None:
        """The account, where name and password are right; takes as long where they are not."""
        account = self.find(name) if _NAME.fullmatch(name) else None
        try:
            self._hasher.verify(account.password_hash if account else self._nobody, password[:LONGEST_PASSWORD])
        except (VerificationError, InvalidHashError):
            return None
        if account and self._hasher.check_needs_rehash(account.password_hash):
            self._rehash(account, password)
        return account

    def _rehash(self, account: Account, password: str) -> None:
        """Brings a hash of earlier settings up to today's; the sessions stay."""
        with self._changing() as content:
            _found(content, account.name).update(password_hash=self._hasher.hash(password))

    @contextmanager
    def _changing(self) -> Iterator[dict[str, Any]]:
        """The content to change; written whole at the end, by one writer at a time."""
        self.file.parent.mkdir(parents=True, exist_ok=True)
        with filelock.FileLock(beside(self.file, ".lock"), timeout=10):
            self._read = (None, _empty())
            content = self._content()
            if not self.file.exists():
                content["secret"] = secrets.token_hex(32)
            yield content
            write_in_place(self.file, json.dumps(content, indent=1).encode() + b"\n")

    def _content(self) -> dict[str, Any]:
        try:
            state = self.file.stat()
        except FileNotFoundError:
            return _empty()
        seen = (state.st_mtime_ns, state.st_ino)
        if self._read[0] != seen:
            self._read = (seen, _parsed(self.file))
        return self._read[1]


def accounts_for(warehouse: Path, host: str, *, behind_proxy: bool) -> Accounts | None:
    """The accounts that a dashboard on `host` needs; None where it is served to its own machine alone.

    Raises AccountError where they are needed and there is none.
    """
    if host in LOOPBACK and not behind_proxy:
        return None
    accounts = Accounts(warehouse)
    if not accounts.all():
        raise AccountError(
            f"Serving on {host} lets others read riders' data, so readers must sign in; found no account. Add one with: "
            f"fitledger user add NAME --role owner --warehouse {warehouse}"
        )
    return accounts


def _empty() -> dict[str, Any]:
    return {"version": _VERSION, "secret": "", "accounts": []}


def _parsed(file: Path) -> dict[str, Any]:
    try:
        content: dict[str, Any] = json.loads(file.read_text(encoding="utf-8"))
        if content["version"] != _VERSION:
            raise AccountError(
                f"{file}: found version {content['version']}, expected {_VERSION}. Use the fitledger that wrote this file."
            )
        bytes.fromhex(content["secret"])
        for one in content["accounts"]:
            _account(one)
    except (OSError, ValueError, KeyError, TypeError) as fault:
        raise AccountError(
            f"{file}: this file of accounts cannot be read ({type(fault).__name__}). Nobody can sign in. Put it back from a "
            "backup, or delete it and add the accounts anew."
        ) from fault
    return content


def _account(one: dict[str, Any]) -> Account:
    return replace(Account(**one), role=Role(one["role"]))


def _found(content: dict[str, Any], name: str) -> dict[str, Any]:
    found: dict[str, Any] | None = next((one for one in content["accounts"] if one["name"] == name.lower()), None)
    if found is None:
        known = ", ".join(sorted(one["name"] for one in content["accounts"])) or "none yet"
        raise AccountError(f"{name}: there is no account of this name; known are {known}.")
    return found


def _checked_name(name: str) -> str:
    if not _NAME.fullmatch(name):
        raise AccountError(f"{name!r}: expected a name of 1 to 64 letters, digits, dots, dashes, underscores or @.")
    return name.lower()


def _checked_role(role: str, fitter_id: str | None) -> Role:
    if role not in ACCOUNT_ROLES:
        raise AccountError(f"--role: found {role!r}, expected one of {', '.join(ACCOUNT_ROLES)}.")
    if (role == Role.FITTER) != bool(fitter_id):
        raise AccountError("--fitter: expected the id of a fitter for the role fitter, and for no other role.")
    return Role(role)


def _checked_password(password: str) -> str:
    if not SHORTEST_PASSWORD <= len(password) <= LONGEST_PASSWORD:
        raise AccountError(
            f"Password: found {len(password)} characters, expected {SHORTEST_PASSWORD} to {LONGEST_PASSWORD}. "
            "A sentence is easier to keep in mind than signs."
        )
    return password

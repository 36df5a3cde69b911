"""The accounts of one warehouse, in a file beside it that its owner alone may read: names, roles, hashed passwords, secrets of
second steps.

Passwords are hashed with Argon2id by argon2-cffi's defaults (RFC 9106, second recommended set).
"""

import json
import re
import secrets
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from copy import deepcopy
from dataclasses import asdict, dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import Any, Final

import argon2
import filelock
from argon2.exceptions import InvalidHashError, VerificationError

from dashboard.accounts.second import SecondStep, matched_step, new_recovery_codes, recovery_mark
from dashboard.questions.door.readers import ACCOUNT_ROLES, Reader, Role
from dashboard.web.guard import LOOPBACK
from shared.errors import AccountError, SignInBusyError
from shared.files import beside, write_in_place

SHORTEST_PASSWORD: Final = 12
LONGEST_PASSWORD: Final = 256
_NAME: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9._@-]{0,63}")
# 1: without second steps; read, and written as 2 with the next change.
_VERSION: Final = 2
# Each hash takes 64 MiB; so many are computed at once, and the next one waits for so long.
HASHES_AT_ONCE: Final = 2
_PATIENCE_SECONDS: Final = 1.0
_hashing = threading.BoundedSemaphore(HASHES_AT_ONCE)


@dataclass(frozen=True)
class Account:
    """One account. `stamp` is part of every session: a new one ends those that were opened with the old."""

    name: str
    role: Role
    fitter_id: str | None
    password_hash: str
    stamp: str
    second: SecondStep | None = None

    @property
    def reader(self) -> Reader:
        return Reader(self.name, self.role, self.fitter_id)


class Accounts:
    """The accounts file of the warehouse at `path`. Read anew whenever it changed, so that a removal takes effect at once."""

    def __init__(self, path: Path, hasher: argon2.PasswordHasher | None = None) -> None:
        self.path = path
        self.file = beside(path, ".accounts.json")
        self._hasher = hasher or argon2.PasswordHasher()
        self._read: tuple[tuple[int, int] | None, dict[str, Any]] = (None, _empty())

    @cached_property
    def nobody(self) -> str:
        """A hash that is verified where no such account exists, so that the answer takes as long; asked for before the first
        try."""
        return self._hasher.hash(secrets.token_urlsafe())

    def all(self) -> tuple[Account, ...]:
        """Every account by name. Raises AccountError where the file cannot be used."""
        return tuple(_account(one) for one in self._content()["accounts"])

    def find(self, name: str) -> Account | None:
        return next((account for account in self.all() if account.name == name.lower()), None)

    @property
    def secret(self) -> bytes:
        """The key that signs forms and the marks of known browsers; made with the file."""
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
            content["accounts"].remove(_record_named(content, name))

    def reset(self, name: str, password: str) -> None:
        """Gives an account another password and ends its sessions. Raises AccountError where there is none."""
        hashed = self._hasher.hash(_checked_password(password))
        with self._changing() as content:
            _record_named(content, name).update(password_hash=hashed, stamp=secrets.token_hex(16))

    def change_role(self, name: str, role: str, fitter_id: str | None = None) -> None:
        """Gives an account another role and ends its sessions. Raises AccountError as `add` does, or where there is none."""
        given = _checked_role(role, fitter_id)
        with self._changing() as content:
            _record_named(content, name).update(role=given, fitter_id=fitter_id, stamp=secrets.token_hex(16))

    def sign_out(self, name: str) -> None:
        """Ends every session of an account. Raises AccountError where there is none."""
        with self._changing() as content:
            _record_named(content, name).update(stamp=secrets.token_hex(16))

    def drop_second(self, name: str) -> None:
        """Takes the second step from an account, as when a phone is lost, and ends its sessions. Raises AccountError where
        there is no such account."""
        with self._changing() as content:
            _record_named(content, name).update(second=None, stamp=secrets.token_hex(16))

    def set_second(self, name: str, secret: str, code: str, now: float) -> list[str]:
        """Gives an account a second step, where the code shows that an app has the secret; sessions stay. Gives the recovery
        codes, which are kept as digests only, or none where the code is wrong."""
        step = matched_step(secret, code, now)
        if step is None:
            return []
        codes = new_recovery_codes()
        with self._changing() as content:
            marks = tuple(recovery_mark(bytes.fromhex(content["secret"]), one) for one in codes)
            _record_named(content, name)["second"] = asdict(SecondStep(secret, step, marks))
        return codes

    def use_code(self, name: str, code: str, now: float) -> bool:
        """Whether a code, of the app or for recovery, is right and was not used yet; it is used up with this."""
        with self._changing() as content:
            second = _record_named(content, name)["second"]
            if second is None:
                return False
            step = matched_step(second["secret"], code, now, after=second["last_step"])
            if step is not None:
                second["last_step"] = step
                return True
            mark = recovery_mark(bytes.fromhex(content["secret"]), code)
            if mark not in second["recovery"]:
                return False
            second["recovery"] = [one for one in second["recovery"] if one != mark]
            return True

    def verify(self, name: str, password: str) -> Account | None:
        """The account, where name and password are right; takes as long where they are not.

        Raises SignInBusyError where too many passwords are being checked at this moment.
        """
        account = self.find(name) if _NAME.fullmatch(name) else None
        if not _hashing.acquire(timeout=_PATIENCE_SECONDS):
            raise SignInBusyError("Many are signing in at this moment. Try again in some seconds.")
        try:
            self._hasher.verify(account.password_hash if account else self.nobody, password[: LONGEST_PASSWORD + 1])
        except (VerificationError, InvalidHashError):
            return None
        finally:
            _hashing.release()
        if account and self._hasher.check_needs_rehash(account.password_hash):
            self._rehash(account, password)
        return account

    def _rehash(self, account: Account, password: str) -> None:
        """Brings a hash of earlier settings up to today's, where the disk takes it; the sessions stay."""
        with suppress(AccountError), self._changing() as content:
            _record_named(content, account.name).update(password_hash=self._hasher.hash(password))

    @contextmanager
    def _changing(self) -> Iterator[dict[str, Any]]:
        """The content to change; written whole at the end where it was changed, by one writer at a time.

        Raises AccountError where the file cannot be written.
        """
        try:
            self.file.parent.mkdir(parents=True, exist_ok=True)
            with filelock.FileLock(beside(self.file, ".lock"), timeout=10):
                self._read = (None, _empty())
                content = deepcopy(self._content())  # others read the file's content meanwhile
                if not self.file.exists():
                    content["secret"] = secrets.token_hex(32)
                before = json.dumps(content)
                yield content
                if json.dumps(content) != before:
                    self._write(content)
        except (OSError, filelock.Timeout) as fault:
            raise AccountError(
                f"{self.file}: the accounts could not be written ({getattr(fault, 'strerror', None) or fault}). Nothing was "
                "changed. Free some space if the disk is full, or name a warehouse in a folder that you may write to."
            ) from fault

    def _write(self, content: dict[str, Any]) -> None:
        content["version"] = _VERSION
        write_in_place(self.file, (json.dumps(content, indent=1) + "\n").encode())

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
        if content["version"] not in (1, _VERSION):
            raise AccountError(
                f"{file}: found version {content['version']}, expected {_VERSION}. Use the fitledger that wrote this file."
            )
        bytes.fromhex(content["secret"])
        for one in content["accounts"]:
            one.setdefault("second", None)
            _account(one)
    except (OSError, ValueError, KeyError, TypeError) as fault:
        raise AccountError(
            f"{file}: this file of accounts cannot be read ({type(fault).__name__}). Nobody can sign in. Put it back from a "
            "backup, or delete it and add the accounts anew."
        ) from fault
    return content


def _account(one: dict[str, Any]) -> Account:
    second = one["second"]
    step = SecondStep(str(second["secret"]), int(second["last_step"]), tuple(second["recovery"])) if second else None
    return replace(Account(**one), role=Role(one["role"]), second=step)


def _record_named(content: dict[str, Any], name: str) -> dict[str, Any]:
    record: dict[str, Any] | None = next((one for one in content["accounts"] if one["name"] == name.lower()), None)
    if record is None:
        known = ", ".join(sorted(one["name"] for one in content["accounts"])) or "none yet"
        raise AccountError(f"{name}: there is no account of this name; known are {known}.")
    return record


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

"""Accounts: what the file keeps, and which names, roles and passwords will do."""

import errno
import json
import os
import stat
import threading
from concurrent.futures import ThreadPoolExecutor, as_completed
from pathlib import Path

import argon2
import pytest
from argon2.exceptions import VerificationError

from dashboard.accounts import store
from dashboard.accounts.store import HASHES_AT_ONCE, Accounts
from dashboard.questions.door.readers import Role
from shared.errors import AccountError, SignInBusyError

PASSWORD = "four small words here"


@pytest.fixture
def accounts(tmp_path: Path) -> Accounts:
    return Accounts(tmp_path / "studio.duckdb")


def test_a_password_is_kept_as_argon2id_alone(accounts: Accounts) -> None:
    """Argon2id with at least the memory and passes of RFC 9106's second recommended option (64 MiB, 3 passes)."""
    accounts.add("Ada", "owner", PASSWORD)
    text = accounts.file.read_text(encoding="utf-8")
    assert PASSWORD not in text
    parameters = argon2.extract_parameters(json.loads(text)["accounts"][0]["password_hash"])
    assert parameters.type is argon2.Type.ID
    assert parameters.memory_cost >= 65536
    assert parameters.time_cost >= 3
    assert stat.S_IMODE(accounts.file.stat().st_mode) == 0o600


def test_who_signs_in_is_known_by_name_in_any_case(accounts: Accounts) -> None:
    accounts.add("Ada", "fitter", PASSWORD, "F2")
    assert accounts.verify("ADA", PASSWORD) == accounts.find("ada")
    assert accounts.verify("ada", PASSWORD + "!") is None
    assert accounts.verify("nobody", PASSWORD) is None
    assert accounts.verify("ada\n", PASSWORD) is None
    account = accounts.find("ada")
    assert account is not None
    assert (account.reader.role, account.reader.fitter_id) == (Role.FITTER, "F2")


def test_another_password_or_a_removal_ends_sessions(accounts: Accounts) -> None:
    stamp = accounts.add("ada", "owner", PASSWORD).stamp
    secret = accounts.secret
    accounts.reset("ada", PASSWORD + " and more")
    changed = accounts.find("ada")
    assert changed is not None
    assert changed.stamp != stamp
    assert accounts.verify("ada", PASSWORD) is None
    assert accounts.secret == secret
    accounts.remove("Ada")
    assert accounts.all() == ()


def test_another_program_s_change_is_seen_at_once(accounts: Accounts, tmp_path: Path) -> None:
    accounts.add("ada", "owner", PASSWORD)
    Accounts(tmp_path / "studio.duckdb").add("ben", "head_fitter", PASSWORD)
    assert [one.name for one in accounts.all()] == ["ada", "ben"]


def test_a_hash_of_weaker_settings_is_renewed_and_sessions_stay(accounts: Accounts) -> None:
    stamp = accounts.add("ada", "owner", PASSWORD).stamp
    content = json.loads(accounts.file.read_text(encoding="utf-8"))
    content["accounts"][0]["password_hash"] = argon2.PasswordHasher(time_cost=1, memory_cost=1024).hash(PASSWORD)
    accounts.file.write_text(json.dumps(content), encoding="utf-8")
    assert accounts.verify("ada", PASSWORD) is not None
    renewed = accounts.find("ada")
    assert renewed is not None
    assert argon2.extract_parameters(renewed.password_hash).memory_cost >= 65536
    assert renewed.stamp == stamp


@pytest.mark.parametrize(
    ("name", "role", "password", "fitter", "words"),
    [
        ("", "owner", PASSWORD, None, "expected a name"),
        ("../x", "owner", PASSWORD, None, "expected a name"),
        ("ada", "local", PASSWORD, None, "expected one of owner, head_fitter, fitter"),
        ("ada", "fitter", PASSWORD, None, "expected the id of a fitter"),
        ("ada", "owner", PASSWORD, "F1", "expected the id of a fitter"),
        ("ada", "owner", "short", None, "found 5 characters, expected 12 to 256"),
        ("ada", "owner", "x" * 300, None, "found 300 characters"),
    ],
)
def test_what_will_not_do_is_told(
    accounts: Accounts, name: str, role: str, password: str, fitter: str | None, words: str
) -> None:
    with pytest.raises(AccountError, match=words):
        accounts.add(name, role, password, fitter)
    assert not accounts.file.exists()


def test_a_name_is_taken_once(accounts: Accounts) -> None:
    accounts.add("ada", "owner", PASSWORD)
    with pytest.raises(AccountError, match="there is an account of this name"):
        accounts.add("ADA", "owner", PASSWORD)
    with pytest.raises(AccountError, match="known are ada"):
        accounts.remove("ben")


@pytest.mark.parametrize("content", ["", "{}", '{"version": 1, "secret": "zz", "accounts": []}', '{"version": 9}', "[1]"])
def test_a_broken_file_lets_nobody_in(accounts: Accounts, content: str) -> None:
    accounts.file.write_text(content, encoding="utf-8")
    with pytest.raises(AccountError):
        accounts.verify("ada", PASSWORD)


def test_what_is_longer_than_a_password_may_be_is_none(accounts: Accounts) -> None:
    """On the code before, what followed the longest password was cut off, and anything might follow."""
    accounts.add("ada", "owner", "x" * 256)
    assert accounts.verify("ada", "x" * 256) is not None
    assert accounts.verify("ada", "x" * 257) is None


def test_another_role_ends_sessions(accounts: Accounts) -> None:
    """Fails on the code before: a role could be changed by removing and adding only."""
    stamp = accounts.add("ada", "head_fitter", PASSWORD).stamp
    accounts.change_role("ADA", "fitter", "F2")
    changed = accounts.find("ada")
    assert changed is not None
    assert (changed.role, changed.fitter_id) == (Role.FITTER, "F2")
    assert changed.stamp != stamp
    assert accounts.verify("ada", PASSWORD) is not None
    with pytest.raises(AccountError, match="expected the id of a fitter"):
        accounts.change_role("ada", "fitter")
    accounts.sign_out("ada")
    after = accounts.find("ada")
    assert after is not None
    assert after.stamp != changed.stamp


def test_a_file_of_the_version_before_is_read_and_written_anew(accounts: Accounts) -> None:
    accounts.add("ada", "owner", PASSWORD)
    content = json.loads(accounts.file.read_text(encoding="utf-8"))
    del content["accounts"][0]["second"]
    accounts.file.write_text(json.dumps({**content, "version": 1}), encoding="utf-8")
    assert accounts.verify("ada", PASSWORD) is not None
    accounts.sign_out("ada")
    assert json.loads(accounts.file.read_text(encoding="utf-8"))["version"] == 2


def test_what_cannot_be_written_is_told_and_changes_nothing(accounts: Accounts, monkeypatch: pytest.MonkeyPatch) -> None:
    accounts.add("ada", "owner", PASSWORD)
    before = accounts.file.read_bytes()

    def full(path: Path, content: bytes) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(store, "write_in_place", full)
    with pytest.raises(AccountError, match="No space left on device"):
        accounts.add("ben", "owner", PASSWORD)
    assert accounts.file.read_bytes() == before
    assert [one.name for one in accounts.all()] == ["ada"]


def test_no_more_passwords_are_checked_at_once_than_memory_allows(accounts: Accounts, monkeypatch: pytest.MonkeyPatch) -> None:
    """Each hash takes 64 MiB; on the code before, as many as there were requests were computed at once."""
    at_work, most, lock, go_on = 0, 0, threading.Lock(), threading.Event()

    class Slow:
        def verify(self, hashed: str, password: str) -> None:
            nonlocal at_work, most
            with lock:
                at_work += 1
                most = max(most, at_work)
            go_on.wait()
            with lock:
                at_work -= 1
            raise VerificationError

    assert accounts.nobody
    monkeypatch.setattr(accounts, "_hasher", Slow())
    monkeypatch.setattr(store, "_PATIENCE_SECONDS", 0.05)

    def attempt(_: int) -> str:
        try:
            accounts.verify("ada", PASSWORD)
        except SignInBusyError:
            return "busy"
        return "checked"

    with ThreadPoolExecutor(12) as threads:
        waiting = [threads.submit(attempt, place) for place in range(12)]
        answered = as_completed(waiting)
        assert [next(answered).result() for _ in range(10)] == ["busy"] * 10
        go_on.set()
    assert sorted(one.result() for one in waiting) == ["busy"] * 10 + ["checked"] * 2
    assert most == HASHES_AT_ONCE

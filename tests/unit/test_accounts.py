"""Accounts: what the file keeps, which names and passwords will do, and how often one may be tried."""

import json
import stat
from pathlib import Path

import argon2
import pytest

from dashboard.accounts.attempts import FIRST_WAIT_SECONDS, FREE, LONGEST_WAIT_SECONDS, Attempts, told
from dashboard.accounts.store import Accounts
from dashboard.questions.readers import Role
from shared.errors import AccountError

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


class Clock:
    now = 0.0

    def __call__(self) -> float:
        return self.now


def test_a_name_must_wait_after_a_few_failures_and_longer_each_time() -> None:
    clock = Clock()
    attempts = Attempts(clock)
    waits = []
    for _ in range(FREE + 6):
        clock.now += waits[-1] if waits else 0
        assert attempts.wait_seconds("ada", "192.0.2.1") == 0
        attempts.failed("Ada", "192.0.2.1")
        waits.append(attempts.wait_seconds("ada", "192.0.2.1"))
    assert waits[: FREE - 1] == [0] * (FREE - 1)
    assert waits[FREE - 1 : FREE + 2] == [FIRST_WAIT_SECONDS, 2 * FIRST_WAIT_SECONDS, 4 * FIRST_WAIT_SECONDS]
    assert waits[-1] == LONGEST_WAIT_SECONDS
    assert attempts.wait_seconds("ben", "192.0.2.1") == 0
    attempts.succeeded("ada", "192.0.2.1")
    assert attempts.wait_seconds("ada", "192.0.2.1") == 0


def test_an_address_that_tries_many_names_must_wait() -> None:
    attempts = Attempts(Clock())
    for place in range(20):
        attempts.failed(f"name{place}", "192.0.2.1")
    assert attempts.wait_seconds("another", "192.0.2.1") == FIRST_WAIT_SECONDS
    assert attempts.wait_seconds("another", "192.0.2.2") == 0


@pytest.mark.parametrize(("seconds", "words"), [(0.2, "1 seconds"), (30, "30 seconds"), (91, "2 minutes"), (900, "15 minutes")])
def test_a_wait_is_told(seconds: float, words: str) -> None:
    assert told(seconds) == words

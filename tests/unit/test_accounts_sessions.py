"""Sessions: what ends one, wherever its identifier is kept, and what a look at the sign-in page leaves alone."""

import json
import shutil
import sqlite3
import stat
import threading
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from dashboard.accounts import sessions as module
from dashboard.accounts.attempts import ADDRESS_FREE, FREE
from dashboard.accounts.store import Account, Accounts
from dashboard.cli import app
from shared.settings_running import SignIn
from tests.unit.door import PASSWORD, QUICK, Clock, DoorHouse, cookies_of, form, is_in, sign_in, words_of

HOUR = 3600.0
# How a browser calls itself.
THIS, OTHER = "Mozilla/5.0 (one)", "Mozilla/5.0 (another)"


@pytest.fixture
def house(tmp_path: Path) -> DoorHouse:
    house = DoorHouse(tmp_path / "studio.duckdb")
    house.accounts.add("olga", "owner", PASSWORD)
    house.accounts.add("hanna", "head_fitter", PASSWORD)
    return house


def test_a_cookie_that_was_kept_before_signing_out_no_longer_answers(house: DoorHouse) -> None:
    """On the code before, it answered for the rest of its twelve hours."""
    client = house.client("olga")
    kept = house.cookie(client)
    tab = house.with_cookie(kept)
    assert is_in(tab)
    assert client.post("/logout").status_code == 302
    assert not is_in(client)
    assert not is_in(tab)
    assert not is_in(house.with_cookie(kept))
    house.start()
    assert not is_in(house.with_cookie(kept))


def test_a_look_at_the_sign_in_page_neither_renews_nor_prolongs_a_session(house: DoorHouse) -> None:
    """On the code before, it signed the session anew for another twelve hours."""
    client = house.client("olga")
    kept = house.cookie(client)
    for _ in range(5):
        house.clock.now += 0.25 * HOUR
        response = client.get("/login")
        assert response.status_code == 200
        assert not [one for one in cookies_of(response) if one.startswith("fitledger=")]
    assert house.cookie(client) == kept
    assert not is_in(client)


def test_a_session_ends_after_twelve_hours_however_much_it_is_used(house: DoorHouse) -> None:
    client = house.client("olga")
    for _ in range(23):
        house.clock.now += 0.5 * HOUR
        assert is_in(client)
    house.clock.now += 0.5 * HOUR
    assert not is_in(client)


def test_a_session_ends_when_it_is_not_used(house: DoorHouse, tmp_path: Path) -> None:
    """On the code before, a session lasted twelve hours, used or not."""
    client = house.client("olga")
    house.clock.now += 0.9 * HOUR
    assert is_in(client)
    house.clock.now += 0.9 * HOUR
    assert is_in(client)
    house.clock.now += HOUR
    assert not is_in(client)
    short = DoorHouse(tmp_path / "short.duckdb", settings=SignIn(idle_minutes=5, longest_hours=1))
    short.accounts.add("olga", "owner", PASSWORD)
    client = short.client("olga")
    short.clock.now += 301
    assert not is_in(client)


def test_a_clock_that_is_set_back_ends_sessions_rather_than_prolonging_them(house: DoorHouse) -> None:
    client = house.client("olga")
    house.clock.now -= HOUR
    assert not is_in(client)


def test_another_browser_with_the_cookie_is_not_let_in_and_ends_the_session(house: DoorHouse) -> None:
    """On the code before, another user agent with the cookie was let in."""
    client = house.client()
    client.environ_base["HTTP_USER_AGENT"] = THIS
    assert sign_in(client, "olga").status_code == 302
    thief = house.with_cookie(house.cookie(client))
    thief.environ_base["HTTP_USER_AGENT"] = OTHER
    assert not is_in(thief)
    assert not is_in(client)


def test_every_sign_in_has_a_new_identifier_and_ends_the_one_before(house: DoorHouse) -> None:
    planted = house.with_cookie("an identifier that somebody chose")
    assert sign_in(planted, "olga").status_code == 302
    first = house.cookie(planted)
    assert first != "an identifier that somebody chose"
    assert sign_in(planted, "hanna").status_code == 302
    assert house.cookie(planted) != first
    assert not is_in(house.with_cookie(first))
    assert planted.get("/page").get_data(as_text=True) == "hanna"


@pytest.mark.parametrize(
    "change",
    [
        lambda accounts: accounts.reset("olga", PASSWORD + " anew"),
        lambda accounts: accounts.change_role("olga", "head_fitter"),
        lambda accounts: accounts.remove("olga"),
        lambda accounts: accounts.sign_out("olga"),
        lambda accounts: accounts.drop_second("olga"),
    ],
    ids=["reset", "role", "removal", "sign-out", "second step"],
)
def test_a_change_of_the_account_ends_its_sessions_at_once(house: DoorHouse, change: Callable[[Accounts], Any]) -> None:
    """By another process, as a command is one; role changes ended nothing before, since there were none."""
    olga, hanna = house.client("olga"), house.client("hanna")
    phone = house.client("olga")
    change(Accounts(house.path, QUICK))
    assert not is_in(olga)
    assert not is_in(phone)
    assert is_in(hanna)


def test_who_is_signed_in_is_listed_and_can_be_ended_on_the_machine(tmp_path: Path) -> None:
    house = DoorHouse(tmp_path / "studio.duckdb", clock=Clock(time.time()))
    for name in ("olga", "hanna"):
        house.accounts.add(name, "owner", PASSWORD)
    olga, _, gone = house.client("olga"), house.client("hanna"), house.client("hanna")
    gone.post("/logout")

    def listed(*words: str) -> str:
        return CliRunner().invoke(app, ["user", *words, "--warehouse", str(house.path)]).output

    assert [one["name"] for one in json.loads(listed("sessions", "--json"))["sessions"]] == ["hanna", "olga"]
    assert listed("sign-out", "Olga") == "olga is signed out everywhere.\n"
    assert not is_in(olga)
    assert listed("sessions").startswith("hanna: signed in at 20")
    listed("remove", "hanna")
    assert listed("sessions") == "Nobody is signed in.\n"


def test_a_server_that_starts_anew_knows_who_is_signed_in_and_who_is_not(house: DoorHouse) -> None:
    stays, leaves = house.client("olga"), house.client("hanna")
    kept, left = house.cookie(stays), house.cookie(leaves)
    leaves.post("/logout")
    house.start()
    assert is_in(house.with_cookie(kept))
    assert not is_in(house.with_cookie(left))


def test_the_file_is_its_owner_s_alone_and_holds_no_identifier(house: DoorHouse) -> None:
    identifier = house.cookie(house.client("olga"))
    file = house.path.with_name("studio.duckdb.sessions")
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    assert identifier.encode() not in file.read_bytes()


def test_a_setting_that_asks_for_a_second_step_ends_sessions_without_one(house: DoorHouse) -> None:
    olga, hanna = house.cookie(house.client("olga")), house.cookie(house.client("hanna"))
    house.settings = SignIn(second_step=("owner",))
    house.start()
    assert not is_in(house.with_cookie(olga))
    assert is_in(house.with_cookie(hanna))


def test_a_file_that_cannot_be_written_is_told_and_lets_nobody_in(house: DoorHouse, monkeypatch: pytest.MonkeyPatch) -> None:
    client = house.client("olga")
    kept = house.cookie(client)

    def full(*_: object, **__: object) -> None:
        raise sqlite3.OperationalError("database or disk is full")

    with monkeypatch.context() as patch:
        patch.setattr(module.sqlite3, "connect", full)
        refused = sign_in(house.client(), "olga")
        assert refused.status_code == 503
        assert "disk is full" in words_of(refused)
        assert not [one for one in cookies_of(refused) if one.startswith("fitledger=")]
        client.post("/logout")
    # The file still holds the session; the server that ended it does not let it in.
    assert not is_in(house.with_cookie(kept))


def test_a_file_that_is_none_is_told_in_a_sentence(house: DoorHouse) -> None:
    house.path.with_name("studio.duckdb.sessions").write_bytes(b"no database at all, and longer than a header" * 30)
    refused = sign_in(house.client(), "olga")
    assert refused.status_code == 503
    assert "delete this file, and everybody signs in again" in words_of(refused)


def test_what_was_kept_too_long_is_taken_out_of_the_file(house: DoorHouse) -> None:
    for _ in range(3):
        house.client("olga")
    house.clock.now += 13 * HOUR
    house.client("hanna")
    with sqlite3.connect(house.path.with_name("studio.duckdb.sessions")) as file:
        assert file.execute("SELECT count(*) FROM sessions").fetchone() == (1,)
    file.close()


@pytest.mark.parametrize(("prefix", "name"), [("/", "__Host-fitledger"), ("/studio/", "__Secure-fitledger")])
def test_behind_tls_the_cookies_say_so_in_their_names(tmp_path: Path, prefix: str, name: str) -> None:
    house = DoorHouse(tmp_path / "studio.duckdb", prefix=prefix, https=True)
    house.accounts.add("olga", "owner", PASSWORD)
    client = house.client()
    given = list(cookies_of(sign_in(client, "olga", prefix=prefix)))
    assert given[0].startswith(f"{name}=")
    assert "SameSite=Lax" in given[0]
    for cookie in (*given, *cookies_of(house.client().get(f"{prefix}login"))):
        assert cookie.startswith(f"{name}")
        assert "HttpOnly" in cookie and "Secure;" in cookie and f"Path={prefix}" in cookie and "Domain" not in cookie


def test_forty_guesses_at_once_reach_the_verifier_no_more_often_than_one_after_the_other(
    house: DoorHouse, monkeypatch: pytest.MonkeyPatch
) -> None:
    """On the code before, eight did (each asked whether it might, and counted after it had been checked)."""
    guesses = [house.client() for _ in range(40)]
    tokens = [client.get("/login").get_data(as_text=True).split('name="token" value="')[1].split('"')[0] for client in guesses]
    checked, together, verify = [], threading.Barrier(40), house.accounts.verify

    def counted(name: str, password: str) -> Account | None:
        checked.append(name)
        return verify(name, password)

    def guess(place: int) -> int:
        together.wait()
        data = {"name": "olga", "password": f"guess number {place}", "token": tokens[place]}
        return guesses[place].post("/login", data=data).status_code

    monkeypatch.setattr(house.accounts, "verify", counted)
    with ThreadPoolExecutor(40) as threads:
        answers = list(threads.map(guess, range(40)))
    assert len(checked) == FREE
    assert sorted(answers) == [401] * FREE + [429] * (40 - FREE)


def test_who_tries_a_name_wrongly_does_not_lock_out_whose_name_it_is(house: DoorHouse) -> None:
    """On the code before, five wrong tries of anybody locked a name out from everywhere."""
    known = house.client("olga", address="203.0.113.9")
    known.post("/logout")
    for address in ("198.51.100.7", "203.0.113.9"):
        attacker = house.client(address=address)
        for _ in range(ADDRESS_FREE):
            sign_in(attacker, "olga", "wrong words again")
    assert sign_in(house.client(address="203.0.113.9"), "olga").status_code == 429  # a new browser beside an attacker waits
    assert sign_in(known, "olga").status_code == 302
    assert sign_in(house.client(address="203.0.113.10"), "olga").status_code == 302


def test_a_known_browser_is_known_for_its_name_and_password_only(house: DoorHouse) -> None:
    known = house.client("hanna", address="203.0.113.9")
    known.post("/logout")
    for _ in range(FREE):
        assert sign_in(known, "olga", "wrong words again").status_code == 401
    assert sign_in(known, "olga").status_code == 429
    house.accounts.reset("hanna", PASSWORD)
    for _ in range(FREE):
        assert sign_in(known, "hanna", "wrong words again").status_code == 401
    assert sign_in(known, "hanna").status_code == 429


def test_a_form_of_another_browser_is_refused(house: DoorHouse) -> None:
    one, other = house.client(), house.client()
    token = one.get("/login").get_data(as_text=True).split('name="token" value="')[1].split('"')[0]
    other.get("/login")
    data = {"name": "olga", "password": PASSWORD, "token": token}
    assert other.post("/login", data=data).status_code == 400
    assert other.post("/login", data={**data, "token": "\u20ac"}).status_code == 400
    assert one.post("/login", data=data).status_code == 302


def test_the_second_steps_are_for_those_who_took_the_first(house: DoorHouse) -> None:
    for client in (house.client(), house.client("olga")):
        for step in ("login/code", "login/set-up"):
            assert client.get(f"/{step}").headers["Location"] == "/login"
            assert client.post(f"/{step}", data={"code": "000000"}).headers["Location"] == "/login"


def test_the_mark_of_a_reader_tells_readers_apart_and_no_name(house: DoorHouse) -> None:
    marks = []
    house.server.add_url_rule("/mark", "mark", house.door.reader_mark)
    for name in ("olga", "hanna", "olga"):
        marks.append(house.client(name).get("/mark").get_data(as_text=True))
    assert marks[0] == marks[2] != marks[1]
    assert "olga" not in marks[0]


def test_backups_of_the_folder_are_worth_nothing_without_the_accounts(house: DoorHouse, tmp_path: Path) -> None:
    """The sessions of another warehouse's accounts let nobody in: the stamps of the accounts decide."""
    kept = house.cookie(house.client("olga"))
    other = DoorHouse(tmp_path / "other.duckdb")
    other.accounts.add("olga", "owner", PASSWORD)
    shutil.copyfile(house.path.with_name("studio.duckdb.sessions"), other.path.with_name("other.duckdb.sessions"))
    assert not is_in(other.with_cookie(kept))
    assert form(other.client(), name="olga", password=PASSWORD).status_code == 302

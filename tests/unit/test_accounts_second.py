"""The second step of signing in: the codes against their standard, each good once, throttled, and set up at the first
sign-in."""

import base64
import json
import re
from pathlib import Path
from urllib.parse import parse_qs, urlsplit

import pyotp
import pytest
from flask.testing import FlaskClient
from typer.testing import CliRunner

from dashboard.accounts.attempts import FIRST_WAIT_SECONDS, FREE
from dashboard.accounts.second import RECOVERY_CODES, STEP_SECONDS, address, drawing, matched_step, new_secret
from dashboard.accounts.store import Accounts
from dashboard.cli import app
from shared.settings_running import SignIn
from tests.unit.door import PASSWORD, QUICK, DoorHouse, form, is_in, sign_in, words_of

# RFC 6238, Appendix B, the column of SHA-1: seconds since 1970 and the code of eight digits. Codes of six digits are their
# last six (RFC 4226, section 5.3: the same number, modulo a lower power of ten).
VECTORS = [
    (59, "94287082"),
    (1111111109, "07081804"),
    (1111111111, "14050471"),
    (1234567890, "89005924"),
    (2000000000, "69279037"),
    (20000000000, "65353130"),
]
SECRET = base64.b32encode(b"12345678901234567890").decode()


@pytest.fixture
def house(tmp_path: Path) -> DoorHouse:
    house = DoorHouse(tmp_path / "studio.duckdb", settings=SignIn(second_step=("owner",)))
    house.accounts.add("olga", "owner", PASSWORD)
    house.accounts.add("hanna", "head_fitter", PASSWORD)
    return house


@pytest.fixture
def secret(house: DoorHouse) -> str:
    """The secret of olga, who has set up the second step a while ago."""
    secret = new_secret()
    assert house.accounts.set_second("olga", secret, now_code(house, secret), house.clock.now)
    house.clock.now += 10 * STEP_SECONDS
    return secret


def now_code(house: DoorHouse, secret: str) -> str:
    return pyotp.TOTP(secret).at(int(house.clock.now))


def waiting(house: DoorHouse, address: str = "192.0.2.1") -> FlaskClient:
    """A browser that has given olga's password and is asked for a code."""
    client = house.client(address=address)
    assert sign_in(client, "olga").headers["Location"].startswith("/login/code")
    return client


@pytest.mark.parametrize(("moment", "code"), VECTORS)
def test_codes_are_those_of_the_standard(moment: int, code: str) -> None:
    assert pyotp.TOTP(SECRET, digits=8).at(moment) == code
    assert matched_step(SECRET, code[-6:], moment) == moment // STEP_SECONDS


def test_a_code_is_good_a_step_early_or_late_and_no_longer() -> None:
    """RFC 6238, section 5.2 recommends one step of delay at most."""
    code, step = VECTORS[3][1][-6:], VECTORS[3][0] // STEP_SECONDS
    good = [shift for shift in range(-4, 5) if matched_step(SECRET, code, (step + shift) * STEP_SECONDS) is not None]
    assert good == [-1, 0, 1]
    assert matched_step(SECRET, code, step * STEP_SECONDS, after=step) is None
    assert matched_step(SECRET, f" {code[:3]} {code[3:]} ", step * STEP_SECONDS) == step
    for other in ("", "000000", "\u0661\u0662\u0663\u0664\u0665\u0666", code + "0", "\ud800"):
        assert matched_step(SECRET, other, step * STEP_SECONDS) is None


def test_an_app_takes_the_secret_over_from_the_drawing_or_the_text() -> None:
    parts = urlsplit(address("olga", SECRET))
    assert (parts.scheme, parts.netloc) == ("otpauth", "totp")
    assert parse_qs(parts.query) == {"secret": [SECRET], "issuer": ["fitledger"]}
    assert drawing(address("olga", SECRET)).startswith("<svg")
    assert len(base64.b32decode(new_secret())) == 20


def test_a_role_that_needs_it_sets_it_up_at_the_first_sign_in(house: DoorHouse) -> None:
    client = house.client()
    response = sign_in(client, "olga", next="riders?rider=R1")
    assert response.headers["Location"] == "/login/set-up?next=riders%3Frider%3DR1"
    assert not is_in(client)
    page = client.get(response.headers["Location"]).get_data(as_text=True)
    found = re.search(r'<code class="sign-in-secret">([A-Z2-7]{32})</code>', page)
    assert found and "<svg" in page
    assert form(client, "login/set-up", code="000000").status_code == 401
    assert not is_in(client)
    done = form(client, "login/set-up", code=now_code(house, found[1]), next="riders?rider=R1")
    codes = re.findall(r"<code>([a-z2-9]{5}-[a-z2-9]{5})</code>", done.get_data(as_text=True))
    assert len(set(codes)) == RECOVERY_CODES
    assert 'href="/riders?rider=R1"' in done.get_data(as_text=True)
    assert is_in(client)
    kept = house.accounts.file.read_text(encoding="utf-8")
    assert not [code for code in codes if code in kept]
    assert is_in(house.client("hanna"))
    account = house.accounts.find("olga")
    assert account is not None and account.second is not None and account.second.secret == found[1]


def test_the_password_alone_lets_nobody_in(house: DoorHouse, secret: str) -> None:
    client = waiting(house)
    pending = house.cookie(client)
    assert not is_in(client)
    assert form(client, "login/code", code=now_code(house, secret)).headers["Location"] == "/"
    assert is_in(client)
    assert house.cookie(client) != pending
    assert not is_in(house.with_cookie(pending))


def test_a_code_is_good_once(house: DoorHouse, secret: str) -> None:
    code = now_code(house, secret)
    assert form(waiting(house), "login/code", code=code).status_code == 302
    other = waiting(house)
    again = form(other, "login/code", code=code)
    assert again.status_code == 401
    assert "was used already" in words_of(again)
    house.clock.now += STEP_SECONDS
    assert form(other, "login/code", code=code).status_code == 401
    assert form(other, "login/code", code=now_code(house, secret)).status_code == 302


def test_a_code_that_set_the_step_up_does_not_sign_in_as_well(house: DoorHouse) -> None:
    secret = new_secret()
    code = now_code(house, secret)
    assert house.accounts.set_second("olga", secret, code, house.clock.now)
    assert form(waiting(house), "login/code", code=code).status_code == 401


def test_a_recovery_code_is_good_once(house: DoorHouse) -> None:
    secret = new_secret()
    codes = house.accounts.set_second("olga", secret, now_code(house, secret), house.clock.now)
    client = waiting(house)
    assert form(client, "login/code", code=codes[3].upper().replace("-", " ")).status_code == 302
    assert is_in(client)
    assert form(waiting(house), "login/code", code=codes[3]).status_code == 401
    assert form(waiting(house), "login/code", code=codes[4]).status_code == 302


def test_codes_are_throttled_wherever_they_come_from_and_a_known_browser_is_not(house: DoorHouse, secret: str) -> None:
    known = waiting(house)
    form(known, "login/code", code=now_code(house, secret))
    known.post("/logout")
    house.clock.now += STEP_SECONDS
    answers = []
    for number in range(FREE + 3):
        answers.append(form(waiting(house, f"198.51.100.{number}"), "login/code", code="000000"))
    assert [one.status_code for one in answers] == [401] * FREE + [429] * 3
    assert "You can try again in 30 seconds" in words_of(answers[FREE - 1])
    assert int(answers[-1].headers["Retry-After"]) == FIRST_WAIT_SECONDS
    assert form(waiting(house, "198.51.100.99"), "login/code", code=now_code(house, secret)).status_code == 429
    sign_in(known, "olga")
    assert form(known, "login/code", code=now_code(house, secret)).status_code == 302


def test_the_second_step_must_be_taken_within_ten_minutes(house: DoorHouse, secret: str) -> None:
    client = waiting(house)
    house.clock.now += 601
    assert client.get("/login/code").headers["Location"] == "/login"


def test_whoever_has_set_it_up_is_asked_even_where_the_role_needs_none(house: DoorHouse, secret: str) -> None:
    house.settings = SignIn()
    house.start()
    assert not is_in(waiting(house))


def test_it_is_reset_on_the_machine_and_set_up_anew(house: DoorHouse, secret: str) -> None:
    client = waiting(house)
    assert form(client, "login/code", code=now_code(house, secret)).status_code == 302
    done = CliRunner().invoke(app, ["user", "reset-second-step", "OLGA", "--warehouse", str(house.path)])
    assert done.exit_code == 0
    assert "olga has no second step now, and is signed out everywhere." in done.output
    assert not is_in(client)
    assert sign_in(house.client(), "olga").headers["Location"].startswith("/login/set-up")


def test_the_accounts_tell_who_has_one_and_not_its_secret(house: DoorHouse, secret: str) -> None:
    listed = CliRunner().invoke(app, ["user", "list", "--json", "--warehouse", str(house.path)])
    assert {one["name"]: one["has_second_step"] for one in json.loads(listed.output)["accounts"]} == {
        "hanna": False,
        "olga": True,
    }
    assert secret not in listed.output
    assert Accounts(house.path, QUICK).file.stat().st_mode & 0o077 == 0

"""A dashboard with accounts: every callback, download and upload walked as every role and as nobody."""

import json
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from flask.testing import FlaskClient
from itsdangerous import URLSafeTimedSerializer

from dashboard.accounts.store import Accounts, accounts_for
from dashboard.app import create_app
from dashboard.questions.door.asking import Asker
from dashboard.questions.selection.selection import Selection
from shared.errors import AccountError, StatisticsError
from shared.settings import Settings
from shared.warehouse import open_reading
from tests.attack.house import ASIDE, PASSWORD, ROLES, House, callbacks, downloads, open_house, sign_in, walk, words_of
from tests.every_view import EVERY_VIEW

SELECTIONS = ("", "?visit_kind=first", "?split=riding")


@pytest.fixture(scope="module")
def house(demo_warehouse: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[House]:
    with open_house(demo_warehouse, tmp_path_factory.mktemp("house")) as house:
        yield house


def test_the_walk_meets_every_page(house: House) -> None:
    met = {output for output, _ in callbacks(house.app)}
    for place in ("studio-head", "supports-head", "symmetry-head", "returns-head", "fitters-head", "riders-head"):
        assert f"{place}.children" in met
    assert len(met) > 15


def test_nobody_gets_nothing(house: House) -> None:
    client = house.client()
    for _, response in walk(house, client, "", "/"):
        assert response.status_code == 401
        assert not words_of(response) & house.foreign
    for address in (*downloads(house), "/_dash-layout", "/_dash-dependencies", "/mend/riders.csv", "/upload/x/findings.csv"):
        headers = {"Sec-Fetch-Mode": "cors"}
        assert client.get(address, headers=headers).status_code == 401, address
    assert client.post("/upload", data={}, headers={"X-Fitledger": "upload"}).status_code == 401
    for page in EVERY_VIEW:
        response = client.get(f"/{page.path}")
        assert response.status_code == 302
        assert response.headers["Location"].startswith("/login")


@pytest.mark.parametrize("search", SELECTIONS)
def test_a_fitter_meets_no_case_of_others_in_any_callback(house: House, search: str) -> None:
    client, answered = house.client("finn"), 0
    for output, response in walk(house, client, search, "/"):
        assert response.status_code in (200, 204), output
        told = words_of(response)
        assert not told & house.foreign, output
        assert not told & house.colleagues, output
        answered += response.status_code == 200
    assert answered > 10


def test_a_fitter_meets_no_case_of_others_in_any_download(house: House) -> None:
    client = house.client("finn")
    for address in downloads(house):
        response = client.get(address)
        assert response.status_code == 200, address
        assert not words_of(response) & (house.foreign | house.colleagues), address


def tables_of(house: House, client: FlaskClient, search: str) -> list[str]:
    """The addresses of the rows of every table that a reader is shown."""
    # A browser's text of an address: strokes and such are written by their numbers.
    told = (
        re.sub(r"\\u00(2f|26)", lambda sign: chr(int(sign[1], 16)), response.get_data(as_text=True))
        for _, response in walk(house, client, search, "/")
    )
    return sorted({address for text in told for address in re.findall(r"/download/shown/[\w.?&=,-]+", text)})


@pytest.mark.parametrize("search", SELECTIONS)
def test_the_rows_of_a_table_hold_no_more_than_its_reader_may_see(house: House, search: str) -> None:
    finn, olga = house.client("finn"), house.client("olga")
    addresses = tables_of(house, finn, search)
    assert len(addresses) > 10
    for address in addresses:
        response = finn.get(address)
        assert response.status_code == 200, address
        assert not words_of(response) & (house.foreign | house.colleagues), address
    for address in tables_of(house, olga, search):
        text = olga.get(address).get_data(as_text=True)
        assert not any(note in text for note in house.notes), address
    assert house.client().get(addresses[0], headers=ASIDE).status_code == 401


def test_a_report_of_the_whole_studio_is_not_for_a_fitter(house: House) -> None:
    refused = house.client("finn").get("/download/short.pdf")
    assert refused.status_code == 403
    assert "for the owner and the head fitter" in refused.get_data(as_text=True)
    assert house.client().get("/download/short.pdf", headers=ASIDE).status_code == 401


def test_a_fitter_is_refused_what_is_asked_by_hand(house: House) -> None:
    client = house.client("finn")
    # R0012 is the example in the page's own words.
    example = {"R0012"}
    stranger = min(one for one in house.foreign if one.startswith("R"))
    assert client.get("/download/riders.csv?fitter=F1").status_code == 403
    assert client.get(f"/download/riders.csv?rider={stranger}").status_code == 400
    mend, sent = client.get("/mend/riders.csv"), client.post("/upload", data={}, headers={"X-Fitledger": "upload"})
    for response in (mend, sent):
        assert response.status_code == 403
        assert "for the owner and the head fitter" in response.get_data(as_text=True)
    for _, answer in walk(house, client, f"?rider={stranger}", "/riders"):
        met = words_of(answer) & (house.foreign - {stranger} - example)
        assert not met


def test_the_owner_meets_no_note_and_the_head_fitter_does(house: House) -> None:
    noted = open_reading(house.asker.path).rows(
        "SELECT rider_id, notes FROM core.fit_sessions WHERE length(notes) > 12 ORDER BY session_id LIMIT 3"
    )
    for name, sees in (("olga", False), ("hanna", True)):
        client = house.client(name)
        for row in noted:
            texts = [answer.get_data(as_text=True) for _, answer in walk(house, client, f"?rider={row['rider_id']}", "/riders")]
            texts.append(client.get(f"/download/riders.csv?rider={row['rider_id']}&rows=fits").get_data(as_text=True))
            # Plain in a file, as JSON in an answer, and as JSON in JSON in a still piece of page.
            once = json.dumps(row["notes"], ensure_ascii=False)[1:-1]
            shown = (row["notes"], once, json.dumps(once, ensure_ascii=False)[1:-1])
            assert any(form in text for text in texts for form in shown) == sees
    client = house.client("olga")
    for address in downloads(house):
        text = client.get(address).get_data(as_text=True)
        assert not [note for note in house.notes if note in text], address
    assert client.get("/mend/fit_sessions.csv").status_code == 403
    assert client.get("/mend/riders.csv").status_code == 200
    assert house.client("hanna").get("/mend/fit_sessions.csv").status_code == 200


@pytest.mark.parametrize("name", ["olga", "hanna"])
def test_owner_and_head_fitter_are_answered_everywhere(house: House, name: str) -> None:
    client = house.client(name)
    for output, response in walk(house, client, "", "/"):
        assert response.status_code in (200, 204), output
    assert words_of(client.get("/download/riders.csv")) & house.foreign


def test_forged_and_old_cookies_are_worth_nothing(house: House) -> None:
    client = house.client()
    forged = URLSafeTimedSerializer("guessed", salt="cookie-session").dumps({"_user_id": "olga x", "_fresh": True})
    for cookie in (forged, "x", ""):
        client.set_cookie("fitledger", cookie)
        assert client.get("/download/studio.csv", headers={"Sec-Fetch-Mode": "cors"}).status_code == 401
    house.accounts.add("gone", "owner", PASSWORD)
    signed_in = house.client("gone")
    kept = signed_in.get_cookie("fitledger")
    assert kept is not None
    assert signed_in.get("/download/studio.csv").status_code == 200
    house.accounts.reset("gone", PASSWORD + " anew")
    replayed = house.client()
    replayed.set_cookie("fitledger", kept.value)
    assert replayed.get("/download/studio.csv", headers={"Sec-Fetch-Mode": "cors"}).status_code == 401
    house.accounts.remove("gone")


def test_signing_out_and_a_sign_in_page_that_was_not_asked_for(house: House) -> None:
    client = house.client("olga")
    client.get("/logout")
    assert client.get("/download/studio.csv").status_code == 200
    assert client.post("/logout").status_code == 302
    assert client.get("/").headers["Location"].startswith("/login")
    bare = house.client()
    response = bare.post("/login", data={"name": "olga", "password": PASSWORD, "token": "guessed"})
    assert response.status_code == 400
    crossed = house.client()
    crossed.get("/login")
    headers = {"Origin": "http://elsewhere.example", "Sec-Fetch-Site": "cross-site"}
    assert crossed.post("/login", data={"name": "olga", "password": PASSWORD}, headers=headers).status_code == 403


@pytest.mark.parametrize(
    "path", ["//elsewhere.example", "https://elsewhere.example", "/\\elsewhere", "%2f%2felsewhere", "@x.example"]
)
def test_signing_in_leads_nowhere_else(house: House, path: str) -> None:
    response = sign_in(house.client(), "olga", PASSWORD, next=path)
    assert response.headers["Location"] == "/"
    assert sign_in(house.client(), "olga", PASSWORD, next="riders?rider=R0001").headers["Location"] == "/riders?rider=R0001"


def test_too_many_tries_are_told_plainly(house: House) -> None:
    house.accounts.add("tried", "owner", PASSWORD)
    client = house.client()
    told = [sign_in(client, "tried", "wrong words again") for _ in range(6)]
    assert [one.status_code for one in told] == [401] * 5 + [429]
    assert "You can try again in 30 seconds" in told[4].get_data(as_text=True)
    assert "Too many tries" in told[5].get_data(as_text=True)
    assert int(told[5].headers["Retry-After"]) > 20
    assert sign_in(client, "tried", PASSWORD).status_code == 429
    house.accounts.remove("tried")


def test_the_cookie_is_kept_from_scripts_and_other_sites(house: House) -> None:
    cookie = sign_in(house.client(), "olga", PASSWORD).headers["Set-Cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite=Lax" in cookie
    assert "Secure" not in cookie
    behind = Settings.model_validate({"serving": {"behind_proxy": True, "hosts": ["studio.example"]}})
    app = create_app(Asker(house.asker.path, behind), prefix="/studio/", accounts=house.accounts)
    client = app.server.test_client()
    forwarded = {"X-Forwarded-For": "192.0.2.7", "X-Forwarded-Proto": "https", "X-Forwarded-Host": "studio.example"}
    page = client.get("/studio/login", headers=forwarded)
    assert page.status_code == 200
    assert "Secure" in page.headers["Set-Cookie"]
    assert "Path=/studio/" in page.headers["Set-Cookie"]
    assert client.get("/studio/supports", headers=forwarded).headers["Location"] == "/studio/login?next=supports"


def test_a_network_needs_accounts_and_this_machine_does_not(tmp_path: Path) -> None:
    path = tmp_path / "studio.duckdb"
    assert accounts_for(path, "127.0.0.1", behind_proxy=False) is None
    for host, behind_proxy in (("0.0.0.0", False), ("192.0.2.4", False), ("127.0.0.1", True)):
        with pytest.raises(AccountError, match="found no account"):
            accounts_for(path, host, behind_proxy=behind_proxy)
    Accounts(path).add("ada", "owner", PASSWORD)
    assert accounts_for(path, "0.0.0.0", behind_proxy=False) is not None


def test_refusals_are_sentences_for_every_role(house: House) -> None:
    """A selection with too few fits is told, and tells nothing else."""
    with pytest.raises(StatisticsError):
        house.asker.ask("studio", Selection(studio=("nowhere",)))
    for name in ROLES:
        client = house.client(name)
        for _, response in walk(house, client, "?studio=nowhere", "/"):
            assert response.status_code in (200, 204)

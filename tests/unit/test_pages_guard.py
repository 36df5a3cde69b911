"""Who may ask: hosts, pages elsewhere, sizes and shapes of requests; everything refused is one sentence."""

import json
import logging
import re
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient

from dashboard.accounts.store import Accounts
from dashboard.app import create_app
from dashboard.questions.memory.turns import require_wanted
from dashboard.web.guard import DEEPEST_JSON, HOSTS, LARGEST_BODY_BYTES, LOOPBACK, allow_hosts
from shared.settings import Settings
from shared.settings_running import Serving
from tests.unit.made_answers import MadeAsker

CALLBACK = "/_dash-update-component"
ASKED = {
    "output": "studio-head.children",
    "outputs": {"id": "studio-head", "property": "children"},
    "inputs": [{"id": "view", "property": "data", "value": ""}, {"id": "theme", "property": "data", "value": "light"}],
    "changedPropIds": ["view.data"],
}


@pytest.fixture
def client() -> FlaskClient:
    return create_app(MadeAsker()).server.test_client()  # type: ignore[arg-type]


def expect_sentence(text: str) -> None:
    assert text.endswith(".\n") and text.count("\n") == 1, text
    assert "Traceback" not in text and "<" not in text


@pytest.mark.parametrize("host", ["localhost", "LOCALHOST:8050", "127.0.0.1:8050", "[::1]:8050"])
def test_this_machine_is_answered(client: FlaskClient, host: str) -> None:
    assert client.get("/", headers={"Host": host}).status_code == 200


@pytest.mark.parametrize("host", ["elsewhere.example", "127.0.0.1.elsewhere.example:8050", "localhost.", "[::1", "", "::1"])
@pytest.mark.parametrize("path", ["/", "/health", "/_dash-layout", "/download/effects.csv", "/assets/style.css"])
def test_another_host_name_is_refused(client: FlaskClient, host: str, path: str) -> None:
    response = client.get(path, headers={"Host": host})
    assert response.status_code == 400
    expect_sentence(response.get_data(as_text=True).replace("(", ""))
    assert "does not answer to this host name" in response.get_data(as_text=True)
    assert response.headers["Content-Security-Policy"]


def test_hosts_are_named_in_the_settings_or_not_checked_beyond_this_machine() -> None:
    asker = MadeAsker()
    asker.settings = Settings(serving=Serving(hosts=("Fits.example",)))
    server = create_app(asker).server  # type: ignore[arg-type]
    assert server.test_client().get("/", headers={"Host": "fits.example"}).status_code == 200
    assert server.test_client().get("/", headers={"Host": "other.example"}).status_code == 400
    allow_hosts(server, (), is_loopback=False)
    assert server.test_client().get("/", headers={"Host": "other.example"}).status_code == 200
    allow_hosts(server, ("fits.example",), is_loopback=False)
    assert server.config[HOSTS] == LOOPBACK | {"fits.example"}


@pytest.mark.parametrize(
    "headers",
    [
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},  # another port of this machine
        {"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "navigate"},
        {"Origin": "https://elsewhere.example"},
        {"Origin": "http://localhost:9999"},
        {"Origin": "null"},
        {"Origin": "http://["},
    ],
)
def test_a_page_elsewhere_cannot_drive_this_one(client: FlaskClient, headers: dict[str, str]) -> None:
    response = client.post(CALLBACK, json=ASKED, headers=headers)
    assert response.status_code == 403
    expect_sentence(response.get_data(as_text=True).replace(". Open", "; open"))


@pytest.mark.parametrize("headers", [{"Sec-Fetch-Site": "same-origin"}, {"Origin": "http://localhost"}, {}])
def test_the_dashboard_itself_and_other_programs_may_ask(client: FlaskClient, headers: dict[str, str]) -> None:
    assert client.post(CALLBACK, json=ASKED, headers=headers).status_code == 200


def test_a_link_from_elsewhere_may_lead_here_and_nothing_is_taken_from_here(client: FlaskClient) -> None:
    link = {"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "navigate"}
    assert client.get("/supports?side=left", headers=link).status_code == 200
    for mode in ("no-cors", "cors"):
        taken = {"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": mode}
        assert client.get("/download/effects.csv", headers=taken).status_code == 403


@pytest.mark.parametrize(
    ("body", "kind"),
    [
        (b"", "application/json"),
        (b"{", "application/json"),
        (b"[]", "application/json"),
        (b'"x"', "application/json"),
        (b"{}", "application/json"),
        (b"\xff\xfe", "application/json"),
        (json.dumps({**ASKED, "output": "nowhere.children"}).encode(), "application/json"),
        (json.dumps({**ASKED, "output": ["a"]}).encode(), "application/json"),
        (json.dumps({**ASKED, "inputs": []}).encode(), "application/json"),
        (json.dumps({**ASKED, "inputs": "view"}).encode(), "application/json"),
        (json.dumps({**ASKED, "inputs": [{"id": "view"}, {"id": "theme"}]}).encode(), "application/json"),
        (json.dumps({**ASKED, "state": [{"id": "view", "property": "data"}]}).encode(), "application/json"),
        (json.dumps(ASKED).encode(), "text/plain"),
        (b"a=b", "application/x-www-form-urlencoded"),
    ],
)
def test_an_odd_question_is_refused_with_a_sentence_and_no_traceback(
    client: FlaskClient, body: bytes, kind: str, caplog: pytest.LogCaptureFixture
) -> None:
    with caplog.at_level(logging.ERROR):
        response = client.post(CALLBACK, data=body, content_type=kind)
    assert response.status_code in (400, 415)
    assert response.mimetype == "text/plain"
    assert "Traceback" not in response.get_data(as_text=True)
    assert caplog.text == ""


DEEP = 200_000
PART = b'--x\r\nContent-Disposition: form-data; name="name"\r\n\r\n1\r\n'
SHAPES = {
    "application/json": [
        *(opening * DEEP + closing for opening, closing in ((b"[", b""), (b'{"a":', b""), (b"[", b"]" * DEEP))),
        *(b"[" * deep + b"]" * deep for deep in (DEEPEST_JSON + 2, 500, 990)),
        b'{"output":' + b"[" * 50 + b"]" * 50 + b"}",
        *(
            b"1" * 9999,
            b"1e999999",
            b"NaN",
            b"\0" * 20,
            b'"\\ud800"',
            "{}".encode("utf-16"),
            b'{"":{"":[]}}',
            b'{"output":"a","output":[]}',
        ),
    ],
    'application/json; charset="': [b"[", b"{}"],
    "application/x-www-form-urlencoded": [b"[" * DEEP, b"a=%ff&b=%00&" * 99, b"a&" * 2000, b"name=" + b"x" * 600_000],
    "multipart/form-data; boundary=x": [
        b'--x\r\nContent-Disposition: form-data; name="\xff"; filename="\xff"\r\n\r\n1\r\n--x--\r\n',
        PART * 1500 + b"--x--\r\n",
        PART.replace(b"1\r", b"1" * 900_000 + b"\r") + b"--x--\r\n",
        b"--x\r\n" + b"A: b\r\n" * 5000 + b"\r\n1\r\n--x--\r\n",
    ],
    "multipart/form-data": [PART],
    "a/b; =" + "x" * 500: [b"x"],
}
HEADERS = [
    *(("Origin", value) for value in ("http://[", "http://[::1", "//", "\xff")),
    *(("Host", value) for value in ("[", "a:b:c", "\xff", "")),
    *(
        ("Cookie", value)
        for value in ("fitledger=\xff", "fitledger=" + "." * 50, "=; ;", "remember_token=a|b", "remember_token=|")
    ),
    *(("Range", value) for value in ("bytes=9-1", "bytes=" + "9" * 30 + "-", "x")),
    *(("X-Forwarded-Host", "["), ("X-Forwarded-For", "x,,"), ("Content-Length", "x"), ("Authorization", "Basic \xff")),
    *(("If-None-Match", 'W/"'), ("If-Modified-Since", "x"), ("Accept-Encoding", "gzip;q=x, *;q=nan"), ("Accept", "\xff")),
    *(("Fitledger-Tab", value) for value in ("a b c d", "0" * 32 + " " + "9" * 5000 + " /")),
]


@pytest.mark.parametrize("signs_in", [False, True])
def test_nothing_that_a_stranger_sends_is_a_fault_of_the_program(
    signs_in: bool, tmp_path: Path, caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    # What a report is made of is no matter here, and a browser takes long to start.
    monkeypatch.setattr("dashboard.report.served.made_report", lambda *_: b"")
    monkeypatch.setattr("dashboard.report.served.made_meeting", lambda *_, **__: b"")
    accounts = Accounts(tmp_path / "studio.duckdb") if signs_in else None
    if accounts:
        accounts.add("olga", "owner", "four small words here", None)
    server = create_app(MadeAsker(), accounts=accounts).server  # type: ignore[arg-type]
    paths = {re.sub("<[^>]+>", "effects", rule.rule) for rule in server.url_map.iter_rules()} | {"/%ff", "//", "/nowhere"}
    faults = []

    def ask(method: str, path: str, **given: Any) -> None:
        with server.test_client().open(path, method=method, **given) as response:
            if response.status_code >= 500 or b"Traceback" in response.get_data():
                faults.append((method, path, given))

    with caplog.at_level(logging.ERROR):
        for path in sorted(paths):
            for kind, bodies in SHAPES.items():
                for body in bodies:
                    ask("POST", path, data=body, content_type=kind)
            ask("GET", path, data=b"[" * DEEP, content_type="application/json")
        for path in ("/", "/assets/style.css", "/health", "/login"):
            for header in HEADERS:
                for method in ("GET", "POST", "TRACE"):
                    ask(method, path, headers=dict([header]))
    assert faults == []
    assert caplog.text == ""


def test_a_question_may_be_no_deeper_than_questions_are(client: FlaskClient) -> None:
    def ask(deep: int) -> str:
        body = json.dumps({**ASKED, "state": "DEEP"}).replace('"DEEP"', "[" * deep + "]" * deep)
        response = client.post(CALLBACK, data=body, content_type="application/json")
        assert response.status_code == 400
        expect_sentence(response.get_data(as_text=True).replace(". Open", "; open").replace(". Load", "; load"))
        return response.get_data(as_text=True)

    assert "no question that a page of this dashboard asks" in ask(DEEPEST_JSON - 1)
    assert "no request that the dashboard understands" in ask(DEEPEST_JSON)


def test_a_request_may_not_be_large(client: FlaskClient) -> None:
    response = client.post(CALLBACK, data=b" " * (LARGEST_BODY_BYTES + 1), content_type="application/json")
    assert response.status_code == 413
    assert f"{LARGEST_BODY_BYTES:,} bytes" in response.get_data(as_text=True)


@pytest.mark.parametrize(("path", "code"), [("/download/effects.csv", 405), ("/_dash-update-component", 405)])
def test_a_wrong_method_is_told(client: FlaskClient, path: str, code: int) -> None:
    response = client.delete(path)
    assert response.status_code == code
    assert response.mimetype == "text/plain"
    assert response.get_data(as_text=True).startswith("This address does not take")


@pytest.mark.parametrize("view", [7, {"a": 1}, ["?side=left"], "?side=" + "x" * 100_000, "?%00=1", "?from=\ud800"])
def test_a_view_of_another_form_is_refused_or_told_on_the_page(client: FlaskClient, view: object) -> None:
    asked = {**ASKED, "inputs": [{"id": "view", "property": "data", "value": view}, ASKED["inputs"][1]]}  # type: ignore[index]
    response = client.post(CALLBACK, data=json.dumps(asked).encode(), content_type="application/json")
    assert response.status_code == (200 if isinstance(view, str) else 400)
    assert "Traceback" not in response.get_data(as_text=True)


def test_a_fault_outside_of_a_place_is_a_sentence_with_a_number(
    monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    asker = MadeAsker()
    monkeypatch.setattr(asker, "choices", lambda: 1 / 0)
    with caplog.at_level(logging.ERROR, logger="fitledger.dashboard"):
        response = create_app(asker).server.test_client().get("/_dash-layout")  # type: ignore[arg-type]
    assert response.status_code == 500
    assert "in the log under" in response.get_data(as_text=True)
    assert "ZeroDivisionError" in caplog.text


def test_the_agents_door_stays_shut_whatever_the_environment_says(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("DASH_MCP_ENABLED", "true")
    server = create_app(MadeAsker()).server  # type: ignore[arg-type]
    assert not [rule.rule for rule in server.url_map.iter_rules() if "mcp" in rule.rule]
    assert server.test_client().post("/_mcp", json={}).status_code in (404, 405)


def test_a_view_that_its_tab_has_left_is_not_computed(client: FlaskClient, monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[int] = []
    tab = "0123456789abcdef" * 2

    def ask(number: int) -> int:
        return client.post(CALLBACK, json=ASKED, headers={"Fitledger-Tab": f"{tab} {number} /"}).status_code

    plain = MadeAsker.ask

    def and_meanwhile(self: MadeAsker, question: str, selection: object) -> object:
        asked.append(len(asked))
        if len(asked) == 1:
            # While the first is computed, the same tab asks for another view, which ends before it.
            other = {**ASKED, "inputs": [{"id": "view", "property": "data", "value": "?side=left"}, ASKED["inputs"][1]]}  # type: ignore[index]
            assert client.post(CALLBACK, json=other, headers={"Fitledger-Tab": f"{tab} 2 /"}).status_code == 200
            require_wanted()
        return plain(self, question, selection)  # type: ignore[arg-type]

    monkeypatch.setattr(MadeAsker, "ask", and_meanwhile)
    assert ask(1) == 204
    assert ask(3) == 200

"""Points of docs/security.md that no other test shows: what answers say of themselves, forms, passwords, what no code does."""

import ast
import re
import shutil
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest
from flask.testing import FlaskClient

from dashboard.accounts.store import Accounts
from dashboard.app import create_app
from dashboard.questions.door.asking import Asker
from shared.errors import AccountError
from shared.settings import Settings
from tests.attack.house import PASSWORD, sign_in

ROOT = Path(__file__).resolve().parents[2]
FLOORS = ("shared", "etl", "dashboard", "warehouse_demo")
ADDRESSES = (
    "/",
    "/data",
    "/health",
    "/nowhere",
    "/download/data.csv",
    "/_dash-layout",
    "/_dash-dependencies",
)
FORWARDED = {"X-Forwarded-For": "192.0.2.7", "X-Forwarded-Host": "studio.example"}


@pytest.fixture(scope="module")
def house(demo_warehouse: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("points") / "studio.duckdb"
    shutil.copyfile(demo_warehouse, path)
    Accounts(path).add("olga", "owner", PASSWORD)
    return path


@pytest.fixture(scope="module")
def client(house: Path) -> FlaskClient:
    client = create_app(Asker(house, Settings()), accounts=Accounts(house)).server.test_client()
    assert sign_in(client, "olga", PASSWORD).status_code == 302
    return client


@pytest.mark.parametrize("address", ADDRESSES)
def test_every_answer_says_what_it_is_and_no_other_site_may_read_it(client: FlaskClient, address: str) -> None:
    answer = client.get(address)
    kind = answer.headers["Content-Type"]
    assert kind.startswith("application/json") or re.fullmatch(r"text/[a-z]+; charset=utf-8", kind), kind
    assert not [name for name, _ in answer.headers if name.startswith("Access-Control-")]


def test_a_browser_that_came_by_tls_comes_by_nothing_else(house: Path) -> None:
    behind = Settings.model_validate({"serving": {"behind_proxy": True, "hosts": ["studio.example"]}})
    client = create_app(Asker(house, behind), accounts=Accounts(house)).server.test_client()
    by_tls = client.get("/login", headers={**FORWARDED, "X-Forwarded-Proto": "https"})
    assert int(by_tls.headers["Strict-Transport-Security"].removeprefix("max-age=")) >= 365 * 24 * 3600
    plain = client.get("/login", headers={**FORWARDED, "X-Forwarded-Proto": "http"})
    assert "Strict-Transport-Security" not in plain.headers  # a browser must not heed it there (RFC 6797, 8.1)


def test_the_form_masks_the_password_lets_it_be_pasted_and_asks_no_other_question(client: FlaskClient) -> None:
    page = client.application.test_client().get("/login").get_data(as_text=True)
    [password] = re.findall(r'<input [^>]*name="password"[^>]*>', page)
    assert 'type="password"' in password and 'autocomplete="current-password"' in password
    assert "onpaste" not in page
    assert set(re.findall(r'<input [^>]*name="([^"]+)"', page)) == {"token", "next", "name", "password"}


@pytest.mark.parametrize("password", [" " * 12, "zwölf 足 Zeichen", "ß" * 256], ids=len)
def test_a_password_may_be_of_any_signs_and_is_taken_as_it_is(tmp_path: Path, password: str) -> None:
    accounts = Accounts(tmp_path / "w.duckdb")
    accounts.add("ada", "owner", password)
    assert accounts.verify("ada", password) is not None
    for other in (password + "x", password[:-1]):
        assert accounts.verify("ada", other) is None


def test_a_short_password_is_refused(tmp_path: Path) -> None:
    with pytest.raises(AccountError, match="expected 12 to 256"):
        Accounts(tmp_path / "w.duckdb").add("ada", "owner", "eleven sign")


@cache
def calls() -> list[tuple[str, str, set[str]]]:
    """Every call in the code: its file, what is called, the names of what it is given."""
    return list(_calls())


def _calls() -> Iterator[tuple[str, str, set[str]]]:
    for floor in FLOORS:
        for path in sorted((ROOT / floor).rglob("*.py")):
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
                if isinstance(node, ast.Call):
                    yield str(path.relative_to(ROOT)), ast.unparse(node.func), {word.arg or "" for word in node.keywords}


def test_no_code_runs_text_as_code_or_as_a_command_of_the_system() -> None:
    forbidden = {"eval", "exec", "compile", "os.system", "os.popen", "pickle.load", "pickle.loads", "marshal.loads"}
    assert [(file, name) for file, name, given in calls() if name in forbidden or "shell" in given] == []


def test_weak_digests_are_used_nowhere() -> None:
    assert [(file, name) for file, name, _ in calls() if re.search(r"\b(md5|sha1|sha224)\b", name)] == []


@pytest.mark.parametrize("address", ["/.git/config", "/assets/../app.py", "/assets/%2e%2e/app.py", "/requirements.lock"])
def test_nothing_of_the_source_is_served(client: FlaskClient, address: str) -> None:
    answer = client.get(address)
    # An address that leads nowhere gets the frame of the pages, in which the browser is told so.
    assert answer.status_code == 404 or answer.mimetype == "text/html"
    assert not re.search("repositoryformatversion|--hash=sha256|def create_app", answer.get_data(as_text=True))


def test_the_image_holds_no_history_of_the_source() -> None:
    left_out = (ROOT / ".dockerignore").read_text(encoding="utf-8").split()
    assert {".git", "tests", "*.duckdb", "*.backup"} <= set(left_out)

"""A served demo with accounts, and the walk through everything that it answers: for the tests of CI and for `make attack`."""

import re
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, Protocol

from dash import Dash
from flask.testing import FlaskClient
from werkzeug.http import parse_cookie
from werkzeug.test import TestResponse

from dashboard.accounts.store import Accounts
from dashboard.app import create_app
from dashboard.questions.door.asking import Asker
from dashboard.questions.door.registry import QUESTIONS
from dashboard.questions.selection.selection import Selection
from etl.load import load
from shared.settings import Settings
from shared.warehouse import open_reading
from warehouse_demo import EXPORTS

PASSWORD = "four small words here"
ROLES = {"olga": ("owner", None), "hanna": ("head_fitter", None), "finn": ("fitter", "F2")}
# Not followed to the page of signing in, as a page's own questions are not.
ASIDE = {"Sec-Fetch-Mode": "cors"}
CALLBACK = "/_dash-update-component"
# A note that can be told from the words of a page.
_LONG_NOTE = 12


class Client(Protocol):
    """Who asks: a test client, or a browser of ours."""

    def get(self, address: str, **given: Any) -> TestResponse: ...

    def post(self, address: str, **given: Any) -> TestResponse: ...


@dataclass(frozen=True)
class House:
    """A served demo with accounts, and what nobody but some may read."""

    app: Dash
    accounts: Accounts
    asker: Asker
    foreign: frozenset[str]
    colleagues: frozenset[str]
    notes: frozenset[str]

    def client(self, name: str | None = None) -> FlaskClient:
        client = self.app.server.test_client()
        if name:
            assert sign_in(client, name, PASSWORD).status_code == 302
        return client

    def browser(self, **given: Any) -> "Browser":
        return Browser(self.app, **given)


@dataclass
class Browser:
    """A browser that keeps its cookies where a thief can read them, with a name and an address of its own."""

    app: Dash
    agent: str = "Mozilla/5.0 (one)"
    address: str = "192.0.2.7"
    jar: dict[str, str] = field(default_factory=dict)

    def get(self, address: str, **given: Any) -> TestResponse:
        return self._ask("GET", address, given)

    def post(self, address: str, **given: Any) -> TestResponse:
        return self._ask("POST", address, given)

    def thief(self, **other: Any) -> "Browser":
        """Another one that holds the same cookies."""
        return Browser(self.app, **{"agent": self.agent, "address": self.address, "jar": dict(self.jar), **other})

    def _ask(self, method: str, address: str, given: dict[str, Any]) -> TestResponse:
        headers = {"User-Agent": self.agent, **given.pop("headers", {})}
        if self.jar:
            headers["Cookie"] = "; ".join(f"{name}={value}" for name, value in self.jar.items())
        client = self.app.server.test_client(use_cookies=False)
        response = client.open(address, method=method, headers=headers, environ_base={"REMOTE_ADDR": self.address}, **given)
        self.jar |= cookies_of(response)
        self.jar = {name: value for name, value in self.jar.items() if value}
        return response


def cookies_of(response: TestResponse) -> dict[str, str]:
    """What an answer gives the browser to keep; an empty value takes one back."""
    return {
        name: value
        for line in response.headers.getlist("Set-Cookie")
        for name, value in parse_cookie(line.partition(";")[0]).items()
    }


@contextmanager
def open_house(demo: Path, folder: Path) -> Iterator[House]:
    """A house on a copy of the demo warehouse in `folder`: an owner, a head fitter and a fitter."""
    path = folder / "studio.duckdb"
    shutil.copyfile(demo, path)
    accounts = Accounts(path)
    for name, (role, fitter) in ROLES.items():
        accounts.add(name, role, PASSWORD, fitter)
    warehouse = open_reading(path)
    fits = warehouse.rows("SELECT session_id, rider_id, fitter_id FROM mart.fits")
    own = {value for row in fits if row["fitter_id"] == "F2" for value in (row["session_id"], row["rider_id"])}
    notes = warehouse.rows(f"SELECT DISTINCT notes FROM core.fit_sessions WHERE length(notes) > {_LONG_NOTE}")
    asker = Asker(path, Settings())
    yield House(
        create_app(asker, accounts=accounts),
        accounts,
        asker,
        frozenset(value for row in fits for value in (row["session_id"], row["rider_id"]) if value not in own),
        frozenset(row["fitter_id"] for row in fits if row["fitter_id"] != "F2"),
        frozenset(row["notes"] for row in notes),
    )
    warehouse.close()


@contextmanager
def demo_house() -> Iterator[House]:
    """A house in a folder of its own, on the demo loaded anew."""
    with TemporaryDirectory() as folder:
        load([EXPORTS], Path(folder) / "demo.duckdb")
        with open_house(Path(folder) / "demo.duckdb", Path(folder)) as house:
            yield house


def sign_in(client: Client, name: str, password: str, **form: str) -> TestResponse:
    page = client.get("/login").get_data(as_text=True)
    token = re.search(r'name="token" value="([^"]+)"', page)
    assert token
    return client.post("/login", data={"name": name, "password": password, "token": token[1], "next": "", **form})


def callbacks(app: Dash) -> Iterator[tuple[str, dict[str, Any]]]:
    """Every callback that the server answers, with the inputs that a browser sends."""
    for output, known in app.callback_map.items():
        if "callback" in known and not any(str(part["id"]).startswith("{") for part in known["inputs"]):
            yield output, known


def body(output: str, known: dict[str, Any], values: dict[str, Any]) -> dict[str, Any]:
    def given(part: dict[str, Any]) -> dict[str, Any]:
        return {**part, "value": values.get(f"{part['id']}.{part['property']}")}

    outputs = [
        {"id": one.rsplit(".", 1)[0], "property": one.rsplit(".", 1)[1]} for one in output.strip(".").split("...") if "." in one
    ]
    return {
        "output": output,
        "outputs": outputs if output.startswith("..") else outputs[0],
        "inputs": [given(part) for part in known["inputs"]],
        "state": [given(part) for part in known["state"]],
        "changedPropIds": [f"{known['inputs'][0]['id']}.{known['inputs'][0]['property']}"],
    }


def walk(house: House, client: Client, search: str, path: str) -> Iterator[tuple[str, TestResponse]]:
    """Each callback's answer for a view on a page."""
    values = {
        "view.data": search,
        "url.search": search,
        "url.pathname": path,
        "theme.data": "light",
        "riders-search.searchValue": "R0",
    }
    for output, known in callbacks(house.app):
        yield output, client.post(CALLBACK, json=body(output, known, values))


def words_of(response: TestResponse) -> set[str]:
    return set(re.findall(r"[A-Za-z0-9]+", response.get_data(as_text=True)))


def downloads(house: House) -> Iterator[str]:
    for question in QUESTIONS:
        for rows in type(house.asker.ask(question, Selection())).lists():
            yield f"/download/{question}.csv?rows={rows}"


def routes(house: House) -> Iterator[tuple[str, str]]:
    """Every address that the server knows, by method, with something in the place of what varies."""
    for rule in house.app.server.url_map.iter_rules():
        address = re.sub(r"<(?:[^:<>]+:)?([^<>]+)>", lambda part: _GIVEN.get(part[1], "x"), rule.rule)
        for method in sorted((rule.methods or set()) - {"HEAD", "OPTIONS"}):
            yield method, address


_GIVEN = {"question": "studio", "table": "riders", "token": "x", "path": "x"}

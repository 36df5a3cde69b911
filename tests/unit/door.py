"""A door before one page, with a clock of the test's own and quick hashes: what signing in does, without a warehouse."""

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

import argon2
from flask import Flask, Response
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from dashboard.accounts.attempts import Attempts
from dashboard.accounts.login import Door
from dashboard.accounts.store import Accounts
from etl.keeping.access_log import AccessLog, Entry
from shared.settings_running import SignIn

PASSWORD = "four small words here"
QUICK = argon2.PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)
PAGE = {"Sec-Fetch-Mode": "cors"}


@dataclass
class Clock:
    """Seconds since 1970 that pass when the test says so."""

    now: float = 1_800_000_000.0

    def __call__(self) -> float:
        return self.now

    def utc(self) -> datetime:
        return datetime.fromtimestamp(self.now, UTC)


@dataclass
class DoorHouse:
    """A server with a door; `start` starts it anew, on the files that are there."""

    path: Path
    clock: Clock = field(default_factory=Clock)
    settings: SignIn = field(default_factory=SignIn)
    prefix: str = "/"
    https: bool = False

    def __post_init__(self) -> None:
        self.accounts = Accounts(self.path, QUICK)
        self.log = AccessLog(self.path, kept_days=365, clock=self.clock.utc)
        self.start()

    def start(self) -> None:
        """A server that has just started."""
        self.server = Flask("door")
        self.attempts = Attempts(self.clock)
        self.door = Door(
            self.prefix,
            self.accounts,
            self.log,
            settings=self.settings,
            https=self.https,
            attempts=self.attempts,
            clock=self.clock,
        )
        self.door.add_to(self.server)
        self.door.notes.add_to(self.server, self.prefix)
        self.server.add_url_rule(f"{self.prefix}page", "page", lambda: self.door.reader().name)
        self.server.add_url_rule(f"{self.prefix}download/<question>.csv", "download", download)

    def client(self, name: str | None = None, address: str = "192.0.2.1") -> FlaskClient:
        client = self.server.test_client()
        client.environ_base["REMOTE_ADDR"] = address
        if self.https:
            client.environ_base["wsgi.url_scheme"] = "https"
        if name:
            assert sign_in(client, name, prefix=self.prefix).status_code == 302
        return client

    def cookie(self, client: FlaskClient) -> str:
        """The identifier that a browser holds."""
        kept = client.get_cookie("fitledger", path=self.prefix)
        assert kept is not None
        return kept.value

    def with_cookie(self, value: str, address: str = "198.51.100.7") -> FlaskClient:
        """A browser elsewhere that was given an identifier."""
        client = self.client(address=address)
        client.set_cookie("fitledger", value)
        return client

    def entries(self) -> list[Entry]:
        return list(self.log.entries())


def download(question: str) -> Response:
    return Response("a,b\r\n", mimetype="text/csv", headers={"Content-Disposition": f'attachment; filename="{question}.csv"'})


def is_in(client: FlaskClient, prefix: str = "/", **headers: str) -> bool:
    """Whether the page answers, and does not ask to sign in."""
    response = client.get(f"{prefix}page", headers=PAGE | headers)
    assert response.status_code in (200, 401)
    return response.status_code == 200


def form(client: FlaskClient, step: str = "login", prefix: str = "/", **given: str) -> TestResponse:
    """Sends the form of a step as a browser does."""
    token = re.search(r'name="token" value="([^"]+)"', client.get(f"{prefix}{step}").get_data(as_text=True))
    assert token, "no form was shown"
    return client.post(f"{prefix}{step}", data={"token": token[1], "next": "", **given})


def sign_in(client: FlaskClient, name: str, password: str = PASSWORD, prefix: str = "/", **given: str) -> TestResponse:
    return form(client, prefix=prefix, name=name, password=password, **given)


def cookies_of(response: TestResponse) -> Iterator[str]:
    yield from response.headers.getlist("Set-Cookie")


def words_of(response: TestResponse) -> str:
    return re.sub(r"\s+", " ", response.get_data(as_text=True).replace("&#39;", "'"))

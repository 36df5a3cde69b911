"""Signing in: one door before every page, callback and download of a dashboard that is served on a network."""

import logging
import secrets
from datetime import timedelta
from pathlib import Path
from typing import Any, Final
from urllib.parse import quote

from flask import Flask, Response, redirect, render_template_string, request, session
from flask_login import LoginManager, UserMixin, current_user, login_user, logout_user
from werkzeug.wrappers import Response as AnyResponse

from dashboard.accounts.attempts import Attempts, told
from dashboard.accounts.store import Account, Accounts
from dashboard.figures.theme import style_sheet
from dashboard.questions.readers import LOCAL, NOBODY, Reader

SESSION_HOURS: Final = 12
_TEMPLATE: Final = Path(__file__).with_name("login.html").read_text(encoding="utf-8")
_TOKEN: Final = "token"
_WRONG: Final = "Name or password is wrong. Try again, or ask whoever looks after fitledger here for another password."
log = logging.getLogger("fitledger.accounts")


class SignedIn(UserMixin):  # type: ignore[misc]
    """Whom a session belongs to; the session names the account and its stamp, so that another password ends it."""

    def __init__(self, account: Account) -> None:
        self.account = account

    def get_id(self) -> str:
        return f"{self.account.name} {self.account.stamp}"


class Door:
    """Lets in who has signed in. `accounts` None: the dashboard is served to its own machine alone, and nobody is asked."""

    def __init__(
        self, prefix: str, accounts: Accounts | None, *, https: bool = False, attempts: Attempts | None = None
    ) -> None:
        self.prefix = prefix
        self.accounts = accounts
        self._https = https
        self._attempts = attempts or Attempts()

    def reader(self) -> Reader:
        """Who asks now."""
        if self.accounts is None:
            return LOCAL
        return current_user.account.reader if current_user.is_authenticated else NOBODY

    def add_to(self, server: Flask) -> None:
        """Adds `login` and `logout`, and the check before every request. Call before routes are served."""
        if self.accounts is None:
            return
        server.config.update(
            SECRET_KEY=self.accounts.secret,
            SESSION_COOKIE_NAME="fitledger",
            SESSION_COOKIE_HTTPONLY=True,
            SESSION_COOKIE_SAMESITE="Lax",
            SESSION_COOKIE_SECURE=self._https,
            SESSION_COOKIE_PATH=self.prefix,
            PERMANENT_SESSION_LIFETIME=timedelta(hours=SESSION_HOURS),
            SESSION_REFRESH_EACH_REQUEST=False,
        )
        manager = LoginManager(server)
        manager.session_protection = "basic"
        manager.user_loader(self._load)
        server.before_request(self._require_signed_in)
        server.add_url_rule(f"{self.prefix}login", "login", self._login, methods=["GET", "POST"])
        server.add_url_rule(f"{self.prefix}logout", "logout", self._logout, methods=["POST"])

    def _load(self, session_id: str) -> SignedIn | None:
        assert self.accounts is not None
        name, _, stamp = session_id.partition(" ")
        account = self.accounts.find(name)
        return SignedIn(account) if account and secrets.compare_digest(account.stamp, stamp) else None

    def _is_open(self) -> bool:
        """Whether the address holds nothing of the studio: health, the door itself, styles and scripts of ours."""
        path = request.path.removeprefix(self.prefix)
        return path in ("health", "login") or path.startswith("assets/")

    def _require_signed_in(self) -> AnyResponse | None:
        if current_user.is_authenticated or self._is_open():
            return None
        if request.method == "GET" and request.headers.get("Sec-Fetch-Mode", "navigate") == "navigate":
            asked = request.full_path.rstrip("?").removeprefix(self.prefix)
            return redirect(f"{self.prefix}login" + (f"?next={quote(asked)}" if asked else ""))
        return Response("Sign in first: open the dashboard's first page again.\n", 401, mimetype="text/plain")

    def _login(self) -> AnyResponse:
        if request.method == "GET":
            return self._page(next_path=request.args.get("next", ""))
        name, password = request.form.get("name", "")[:64], request.form.get("password", "")
        next_path = request.form.get("next", "")
        expected = session.get(_TOKEN)
        if not expected or not secrets.compare_digest(expected, request.form.get("token", "")):
            return self._page(next_path, name, "This page had been open for long. Sign in again.", 400)
        return self._try(name, password, next_path)

    def _try(self, name: str, password: str, next_path: str) -> AnyResponse:
        assert self.accounts is not None
        address = request.remote_addr or ""
        if wait := self._attempts.wait_seconds(name, address):
            return self._page(
                next_path, name, f"Too many tries with a wrong password. Wait {told(wait)}, then try again.", 429, wait
            )
        account = self.accounts.verify(name, password)
        if account is None:
            self._attempts.failed(name, address)
            log.warning("A sign-in failed")
            wait = self._attempts.wait_seconds(name, address)
            words = f"{_WRONG} You can try again in {told(wait)}." if wait else _WRONG
            return self._page(next_path, name, words, 401)
        self._attempts.succeeded(name, address)
        # A session of before, if there was one, is not carried on.
        session.clear()
        session.permanent = True
        login_user(SignedIn(account))
        return redirect(self.prefix + _inside(next_path))

    def _logout(self) -> AnyResponse:
        logout_user()
        session.clear()
        return redirect(f"{self.prefix}login")

    def _page(self, next_path: str, name: str = "", words: str = "", status: int = 200, wait: float = 0) -> AnyResponse:
        session[_TOKEN] = token = secrets.token_urlsafe(16)
        given: dict[str, Any] = {"style": style_sheet(), "prefix": self.prefix, "token": token, "next": next_path}
        response = Response(render_template_string(_TEMPLATE, name=name, told=words, **given), status, mimetype="text/html")
        response.headers["Cache-Control"] = "no-store"
        if wait:
            response.headers["Retry-After"] = f"{wait:.0f}"
        return response


def _inside(next_path: str) -> str:
    """A page of this dashboard; anything that might lead elsewhere becomes the first page."""
    is_plain = all(sign.isalnum() or sign in "-_./?=&,%+" for sign in next_path)
    return next_path if is_plain and not next_path.startswith(("/", ".", "%")) and "//" not in next_path else ""

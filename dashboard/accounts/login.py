"""One door before every page, callback and download of a dashboard that is served on a network: who is signed in, and who is
not."""

import hashlib
import hmac
import secrets
import time
from collections.abc import Callable
from typing import Final
from urllib.parse import quote

from flask import Flask, Response, g, has_request_context, redirect, request
from werkzeug.wrappers import Response as AnyResponse

from dashboard.accounts.access import ReaderNotes
from dashboard.accounts.attempts import Attempts
from dashboard.accounts.cookies import Cookies
from dashboard.accounts.sessions import Session, Stage, sessions_for
from dashboard.accounts.signing import Signing
from dashboard.accounts.store import Account, Accounts
from dashboard.questions.door.readers import LOCAL, NOBODY, Reader
from etl.keeping.access_log import AccessLog
from shared.settings_running import SignIn

# What holds nothing of the studio: health, the steps of signing in, the way out, and the end of a letter. Styles and scripts of
# ours are open too.
_OPEN: Final = frozenset({"health", "login", "login/code", "login/set-up", "logout", "letters/stop"})


class Door:
    """Lets in who has signed in. `accounts` None: the dashboard is served to its own machine alone, and nobody is asked.

    `clock`: seconds since 1970, of sessions and codes.
    """

    def __init__(
        self,
        prefix: str,
        accounts: Accounts | None,
        access: AccessLog,
        *,
        settings: SignIn | None = None,
        https: bool = False,
        attempts: Attempts | None = None,
        clock: Callable[[], float] = time.time,
    ) -> None:
        self.prefix = prefix
        self.accounts = accounts
        self.notes = ReaderNotes(access, self.reader, is_needed=accounts is not None)
        self._settings = settings or SignIn()
        self._https = https
        self._attempts = attempts or Attempts()
        self._clock = clock

    def reader(self) -> Reader:
        """The reader who asks now: the machine's own where no accounts are needed, nobody without a sign-in."""
        if self.accounts is None:
            return LOCAL
        reader: Reader = g.get("fitledger_reader", NOBODY) if has_request_context() else NOBODY
        return reader

    def reader_mark(self) -> str:
        """What tells this reader from others in what a browser keeps, without telling the name."""
        if self.accounts is None:
            return ""
        return hmac.new(self.accounts.secret, self.reader().name.encode(), hashlib.sha256).hexdigest()[:16]

    def add_to(self, server: Flask) -> None:
        """Adds the steps of signing in and out and the check before every request. Call before routes are served."""
        if self.accounts is not None:
            self._guard(server, self.accounts)

    def _guard(self, server: Flask, accounts: Accounts) -> None:
        _ = accounts.nobody
        cookies = Cookies(self.prefix, accounts, https=self._https)
        sessions = sessions_for(accounts.path, self._settings, self._clock)
        needed = frozenset(self._settings.second_step)

        def present(stage: Stage) -> tuple[Session, Account] | None:
            """The session of this request at a stage, and its account as it is now."""
            session = sessions.find(cookies.session, request.user_agent.string)
            if session is None or session.stage != stage:
                return None
            account = accounts.find(session.name)
            if account is None or not secrets.compare_digest(account.stamp, session.stamp):
                sessions.end(cookies.session)
                return None
            if stage == "whole" and account.role in needed and not session.has_second:
                return None  # begun before the settings asked for a second step
            return session, account

        def require_signed_in() -> AnyResponse | None:
            path = request.path.removeprefix(self.prefix)
            if path in _OPEN or path.startswith("assets/"):
                return None
            signed_in = present("whole")
            if signed_in:
                g.fitledger_reader = signed_in[1].reader
                return None
            if request.method == "GET" and request.headers.get("Sec-Fetch-Mode", "navigate") == "navigate":
                asked = request.full_path.rstrip("?").removeprefix(self.prefix)
                return redirect(f"{self.prefix}login" + (f"?next={quote(asked)}" if asked else ""))
            return Response("Sign in first: open the dashboard's first page again.\n", 401, mimetype="text/plain")

        server.before_request(require_signed_in)
        signing = Signing(self.prefix, accounts, sessions, cookies, self._attempts, self.notes, present, needed, self._clock)
        server.add_url_rule(f"{self.prefix}login", "login", signing.password, methods=["GET", "POST"])
        server.add_url_rule(f"{self.prefix}login/code", "login-code", signing.code, methods=["GET", "POST"])
        server.add_url_rule(f"{self.prefix}login/set-up", "login-set-up", signing.set_up, methods=["GET", "POST"])
        server.add_url_rule(f"{self.prefix}logout", "logout", signing.out, methods=["POST"])

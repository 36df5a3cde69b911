"""The steps of signing in: password, code or its setting up, recovery codes; and signing out.

Every step that succeeds begins a new session under a new identifier and ends the one before.
"""

from collections.abc import Callable, Collection
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final
from urllib.parse import quote

from flask import Response, redirect, render_template_string, request
from werkzeug.wrappers import Response as AnyResponse

from dashboard.accounts.access import UNKNOWN, ReaderNotes
from dashboard.accounts.attempts import Attempts, Trier, told
from dashboard.accounts.cookies import Cookies
from dashboard.accounts.second import address, drawing, new_secret
from dashboard.accounts.sessions import Session, Sessions, Stage
from dashboard.accounts.store import Account, Accounts
from dashboard.figures.theme import style_sheet
from dashboard.figures.typeface import address as address_of_typeface
from shared.errors import AccessLogError, AccountError, SignInBusyError

_TEMPLATE: Final = Path(__file__).with_name("signing.html").read_text(encoding="utf-8")
_TITLES: Final = {
    "password": "Sign in to fitledger",
    "code": "The second step",
    "set-up": "Set up the second step",
    "recovery": "Keep these codes",
}
_WRONG: Final = "Name or password is wrong. Try again, or ask whoever looks after fitledger here for another password."
_WRONG_CODE: Final = "This code is wrong, too old, or was used already. Wait for the app's next one and type that."
_OLD_PAGE: Final = "This page had been open for long. Sign in again."


@dataclass(frozen=True)
class Signing:
    """The steps as views. `present` gives the session of the request at a stage with its account; `needed` are the roles that
    take the second step."""

    prefix: str
    accounts: Accounts
    sessions: Sessions
    cookies: Cookies
    attempts: Attempts
    notes: ReaderNotes
    present: Callable[[Stage], tuple[Session, Account] | None]
    needed: Collection[str]
    clock: Callable[[], float]

    def password(self) -> AnyResponse:
        """Serves the step that asks for name and password. A look at the page leaves a session that is there as it is."""
        if request.method == "GET":
            return self._page("password")
        name = request.form.get("name", "")[:64]
        if not self.cookies.is_form_of_ours(request.form.get("token", "")):
            return self._page("password", _OLD_PAGE, 400, name=name)
        try:
            return self._try_password(name, request.form.get("password", ""))
        except (AccountError, AccessLogError) as fault:
            return self._page("password", str(fault), 503, name=name)

    def _try_password(self, name: str, password: str) -> AnyResponse:
        known = self.accounts.find(name)
        trier = Trier(name, request.remote_addr or "", self.cookies.device(known))
        if wait := self.attempts.reserve(trier):
            return self._wait("password", "Too many tries with a wrong password.", wait, name=name)
        try:
            account = self.accounts.verify(name, password)
        except SignInBusyError:
            self.attempts.undo(trier)
            raise
        if account is None:
            # A name that is none may be a password in the wrong place.
            self.notes.signing(known.name if known else UNKNOWN, "failed to sign in")
            return self._page("password", _WRONG + self._pause(trier), 401, name=name)
        self.attempts.succeeded(trier)
        if account.second or account.role in self.needed:
            return self._go_on(account)
        response = redirect(self.prefix + self._next())
        self._let_in(account, response, has_second=False)
        return response

    def _go_on(self, account: Account) -> AnyResponse:
        """Leads to the second step, or to where it is set up, with a session that is good for nothing else."""
        stage: Stage = "code" if account.second else "setup"
        secret = "" if account.second else new_secret()
        response = redirect(f"{self.prefix}login/{'code' if account.second else 'set-up'}?next={quote(self._next())}")
        self._begin(account, response, stage=stage, secret=secret)
        return response

    def code(self) -> AnyResponse:
        """Serves the step that asks for a code of the app or for a recovery code."""
        return self._second("code", "code", self._try_code)

    def _try_code(self, _: Session, account: Account, code: str) -> AnyResponse | None:
        if not self.accounts.use_code(account.name, code, self.clock()):
            return None
        response = redirect(self.prefix + self._next())
        self._let_in(account, response, has_second=True)
        return response

    def set_up(self) -> AnyResponse:
        """Serves the step that gives the app its secret and asks for its first code; then shows the recovery codes, once."""
        return self._second("setup", "set-up", self._try_set_up)

    def _try_set_up(self, session: Session, account: Account, code: str) -> AnyResponse | None:
        codes = self.accounts.set_second(account.name, session.secret, code, self.clock())
        if not codes:
            return None
        self.notes.signing(account.name, "set up the second step")
        response = self._page("recovery", codes=codes)
        self._let_in(account, response, has_second=True)
        return response

    def _second(self, stage: Stage, step: str, attempt: Callable[[Session, Account, str], AnyResponse | None]) -> AnyResponse:
        session_and_account = self.present(stage)
        if session_and_account is None:
            return redirect(f"{self.prefix}login")
        session, account = session_and_account
        setup_fields: dict[str, Any] = {"secret": session.secret, "account": account.name} if stage == "setup" else {}
        if request.method == "GET":
            return self._page(step, **setup_fields)
        if not self.cookies.is_form_of_ours(request.form.get("token", "")):
            return self._page(step, _OLD_PAGE, 400, **setup_fields)
        try:
            return self._try_second(step, account, lambda code: attempt(session, account, code), setup_fields)
        except (AccountError, AccessLogError) as fault:
            return self._page(step, str(fault), 503, **setup_fields)

    def _try_second(
        self, step: str, account: Account, attempt: Callable[[str], AnyResponse | None], setup_fields: dict[str, Any]
    ) -> AnyResponse:
        trier = Trier(account.name, request.remote_addr or "", self.cookies.device(account), "code")
        if wait := self.attempts.reserve(trier):
            return self._wait(step, "Too many tries with a wrong code.", wait, **setup_fields)
        response = attempt(request.form.get("code", "")[:32])
        if response is None:
            self.notes.signing(account.name, "failed to sign in", "second step")
            return self._page(step, _WRONG_CODE + self._pause(trier), 401, **setup_fields)
        self.attempts.succeeded(trier)
        return response

    def out(self) -> AnyResponse:
        """Ends the session of this browser, in every tab, for whoever holds its identifier."""
        who = ""
        with suppress(AccountError):  # where the file cannot be read, the session is ended for this server all the same
            signed_in = self.present("whole")
            who = signed_in[1].name if signed_in else ""
        self.sessions.end(self.cookies.session)
        if who:
            self.notes.signing(who, "signed out")
        response = redirect(f"{self.prefix}login")
        self.cookies.drop_session(response)
        return response

    def _let_in(self, account: Account, response: AnyResponse, *, has_second: bool) -> None:
        identifier = self._begin(account, response, has_second=has_second)
        try:
            self.notes.signing(account.name, "signed in", is_needed=True)
        except AccessLogError:
            self.sessions.end(identifier)
            raise
        self.cookies.keep_device(response, account)

    def _begin(self, account: Account, response: AnyResponse, **of: Any) -> str:
        """A new session in the place of the one that the browser had."""
        self.sessions.end(self.cookies.session)
        identifier = self.sessions.begin(account.name, account.stamp, request.user_agent.string, **of)
        self.cookies.keep_session(response, identifier)
        return identifier

    def _pause(self, trier: Trier) -> str:
        wait = self.attempts.wait_seconds(trier)
        return f" You can try again in {told(wait)}." if wait else ""

    def _wait(self, step: str, words: str, wait: float, **setup_fields: Any) -> AnyResponse:
        response = self._page(step, f"{words} Wait {told(wait)}, then try again.", 429, **setup_fields)
        response.headers["Retry-After"] = f"{wait:.0f}"
        return response

    def _next(self) -> str:
        return _inside(request.values.get("next", ""))

    def _page(self, step: str, words: str = "", status: int = 200, **setup_fields: Any) -> Response:
        bound, token = self.cookies.form_token()
        if "secret" in setup_fields:
            setup_fields["qr"] = drawing(address(setup_fields["account"], setup_fields["secret"]))
        given: dict[str, Any] = {
            "style": style_sheet(address_of_typeface(self.prefix)),
            "prefix": self.prefix,
            "token": token,
            "next": self._next(),
            "step": step,
            "title": _TITLES[step],
            "told": words,
            "action": "login" if step == "password" else f"login/{step}",
            **setup_fields,
        }
        response = Response(render_template_string(_TEMPLATE, **given), status, mimetype="text/html")
        response.headers["Cache-Control"] = "no-store"
        self.cookies.keep_form(response, bound)
        return response


def _inside(next_path: str) -> str:
    """A page of this dashboard; anything that might lead elsewhere becomes the first page."""
    is_plain = all(sign.isalnum() or sign in "-_./?=&,%+" for sign in next_path)
    return next_path if is_plain and not next_path.startswith(("/", ".", "%")) and "//" not in next_path else ""

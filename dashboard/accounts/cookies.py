"""What the browser is given to keep: the session's identifier, what a form is bound to, and the mark of a known browser."""

import hashlib
import secrets
from typing import Final

from flask import request
from itsdangerous import BadData, URLSafeTimedSerializer
from werkzeug.wrappers import Response

from dashboard.accounts.store import Account, Accounts

# A form that is older is shown anew.
FORM_SECONDS: Final = 3600
DEVICE_SECONDS: Final = 180 * 24 * 3600
NAME: Final = "fitledger"


class Cookies:
    """The cookies of a dashboard under `prefix`; scripts cannot read them, and they stay under the prefix.

    With TLS in front they travel over it alone, and their names say so (RFC 6265bis): with `__Host-` no other host of the
    domain can set them; under a path of its own, where that name is not allowed, with `__Secure-`.
    """

    def __init__(self, prefix: str, accounts: Accounts, *, https: bool) -> None:
        self._prefix = prefix
        self._accounts = accounts
        self._https = https
        self.session_name = self._named("")
        self._form_name = self._named("-form")

    @property
    def session(self) -> str:
        """The identifier that the request brings; empty without one."""
        return request.cookies.get(self.session_name, "")

    def keep_session(self, response: Response, identifier: str) -> None:
        """Gives the browser an identifier until it is closed; the server ends the session earlier."""
        self._keep(response, self.session_name, identifier, "Lax")

    def drop_session(self, response: Response) -> None:
        response.delete_cookie(self.session_name, path=self._prefix, secure=self._https, httponly=True, samesite="Lax")

    def form_token(self) -> tuple[str, str]:
        """What binds a form to this browser: the cookie's value, and the word that the form sends along."""
        bound = request.cookies.get(self._form_name, "") or secrets.token_urlsafe(16)
        return bound, self._signer("form").dumps(bound)

    def keep_form(self, response: Response, bound: str) -> None:
        if request.cookies.get(self._form_name) != bound:
            self._keep(response, self._form_name, bound, "Strict")

    def is_form_of_ours(self, token: str) -> bool:
        """Whether a form was made for this browser, and not too long ago."""
        try:
            bound = str(self._signer("form").loads(token, max_age=FORM_SECONDS))
        except BadData:
            return False
        return secrets.compare_digest(bound.encode(), request.cookies.get(self._form_name, "").encode())

    def device(self, account: Account | None) -> str | None:
        """The mark of this browser, where this account has signed in with it before and has had the same password and role
        since."""
        if account is None:
            return None
        try:
            kept = request.cookies.get(self._device_name(account), "")
            return str(self._signer(f"device {account.stamp}").loads(kept, max_age=DEVICE_SECONDS))
        except BadData:
            return None

    def keep_device(self, response: Response, account: Account) -> None:
        """Marks this browser as known for this account."""
        mark = self._signer(f"device {account.stamp}").dumps(secrets.token_urlsafe(16))
        self._keep(response, self._device_name(account), mark, "Strict", DEVICE_SECONDS)

    def _device_name(self, account: Account) -> str:
        return self._named(f"-known-{hashlib.sha256(account.name.encode()).hexdigest()[:12]}")

    def _named(self, ending: str) -> str:
        start = ("__Host-" if self._prefix == "/" else "__Secure-") if self._https else ""
        return f"{start}{NAME}{ending}"

    def _keep(self, response: Response, name: str, value: str, same_site: str, seconds: int | None = None) -> None:
        response.set_cookie(
            name, value, max_age=seconds, path=self._prefix, secure=self._https, httponly=True, samesite=same_site
        )

    def _signer(self, salt: str) -> URLSafeTimedSerializer:
        return URLSafeTimedSerializer(self._accounts.secret, salt=salt, signer_kwargs={"digest_method": hashlib.sha256})

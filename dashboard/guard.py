"""Who may ask, and how much at once: what a request must be before anything is computed for it.

On a loopback address nobody signs in: everyone who can reach it sits at the machine. A web page opened in the same browser
can reach it too, so requests that a browser marks as coming from another site are refused, and so are
host names that are not the machine's own (a foreign name may be made to point at this machine).
"""

from collections.abc import Collection, Mapping
from typing import Any, Final
from urllib.parse import urlsplit

from flask import Flask, Response, request
from werkzeug.datastructures import Headers
from werkzeug.exceptions import BadRequest, Forbidden, HTTPException
from werkzeug.middleware.proxy_fix import ProxyFix

from dashboard.components import ids
from dashboard.components.faults import told

LOOPBACK: Final = frozenset({"localhost", "127.0.0.1", "::1"})
# The key of the Flask settings that holds the host names that are answered; None answers all.
HOSTS: Final = "FITLEDGER_HOSTS"
NAMED: Final = "FITLEDGER_NAMED_HOSTS"
# A question is a few words. An upload sets a limit of its own (request.max_content_length).
LARGEST_BODY_BYTES: Final = 1_000_000
# Stores that every page reads, and that hold text.
_WORDS: Final = (ids.VIEW, ids.THEME)
_CALLBACK: Final = "_dash-update-component"
_SENTENCES: Final = {
    404: "There is nothing at this address. The pages of the dashboard are listed on its first page.",
    405: "This address does not take requests of this kind. Open the dashboard's pages in a browser.",
    411: "The request does not say how long it is. Send its length.",
    413: f"The request is larger than the {LARGEST_BODY_BYTES:,} bytes that are taken here. Ask for less at once.",
    415: "The request holds no JSON. Open the dashboard's pages in a browser.",
}


def add_guard(server: Flask, prefix: str, callbacks: Mapping[str, Any]) -> None:
    """Checks every request, and answers what is refused or fails with one sentence as plain text.

    `callbacks`: what the screens registered, by output. Call when every route is added.
    """
    server.config["MAX_CONTENT_LENGTH"] = LARGEST_BODY_BYTES

    @server.before_request
    def check() -> None:
        require_host(request.host, server.config[HOSTS])
        require_same_site(request.method, request.headers, request.host)
        if request.method == "POST" and request.path == f"{prefix}{_CALLBACK}":
            require_callback(request.get_json(), callbacks)

    @server.errorhandler(HTTPException)
    def refuse(fault: HTTPException) -> Response:
        code = fault.code or 500
        # What the guard itself says is ours; the library's words for the same codes are for programmers.
        words = fault.description if isinstance(fault, _Refused) else _SENTENCES.get(code, f"{fault.name}.")
        return Response(f"{words}\n", code, mimetype="text/plain")

    @server.errorhandler(Exception)
    def fail(fault: Exception) -> Response:
        return Response(f"{told(fault)}\n", 500, mimetype="text/plain")


def allow_hosts(server: Flask, named: Collection[str], *, is_loopback: bool) -> None:
    """Which host names are answered: those of this machine and the named ones; where the dashboard is served on other
    addresses and none is named, every one, since the names of a network are not known here."""
    server.config[NAMED] = tuple(named)
    server.config[HOSTS] = LOOPBACK | {name.lower() for name in named} if is_loopback or named else None


def trust_proxy(server: Flask) -> None:
    """Takes the reader's address, scheme and host from the one proxy in front, which must set them anew itself."""
    server.wsgi_app = ProxyFix(server.wsgi_app, x_for=1, x_proto=1, x_host=1)  # type: ignore[method-assign]


class _Refused(HTTPException):
    """Refused by the guard, with a sentence of its own."""


class _UnknownHost(_Refused, BadRequest):
    pass


class _FromElsewhere(_Refused, Forbidden):
    pass


class _NoQuestion(_Refused, BadRequest):
    pass


def require_host(host: str, hosts: Collection[str] | None) -> None:
    """Refuses a host name (with or without a port) that is not among `hosts`; None takes all."""
    if hosts is None:
        return
    try:
        name = urlsplit(f"//{host}").hostname
    except ValueError:
        name = None
    if name not in hosts:
        raise _UnknownHost(
            f"The dashboard does not answer to this host name; expected one of {', '.join(sorted(hosts))}. "
            "Open it at the address that fitledger printed, or name the host in the settings ([serving] hosts)."
        )


def require_same_site(method: str, headers: Headers, host: str) -> None:
    """Refuses what a browser sends on behalf of a page elsewhere; a link that leads here may be followed.

    Browsers set Sec-Fetch-Site, older ones Origin on all but plain reading; other programs set neither and may ask.
    """
    site = headers.get("Sec-Fetch-Site")
    if site is not None:
        is_link = method in ("GET", "HEAD") and headers.get("Sec-Fetch-Mode") == "navigate"
        is_ours = site in ("same-origin", "none") or is_link
    else:
        origin = headers.get("Origin")
        is_ours = origin is None or urlsplit(origin).netloc == host
    if not is_ours:
        raise _FromElsewhere("This request came from a page of another site and was not answered. Open the dashboard itself.")


def require_callback(body: Any, callbacks: Mapping[str, Any]) -> None:
    """Refuses a question that no page asks: another output, or other inputs and states than that output has."""
    output = body.get("output") if isinstance(body, dict) else None
    known = callbacks.get(output) if isinstance(output, str) else None
    if known is None or not all(_is_asked(body.get(kind, []), known[kind]) for kind in ("inputs", "state")):
        raise _NoQuestion("This is no question that a page of this dashboard asks. Load the page again.")


def _is_asked(given: Any, expected: list[dict[str, Any]]) -> bool:
    """Whether a part of a question has the properties that its callback takes, in their order."""
    if not isinstance(given, list) or not all(isinstance(part, dict) and "property" in part for part in given):
        return False
    if any(part.get("id") in _WORDS and not isinstance(part.get("value"), str | None) for part in given):
        return False
    # An id with a wildcard stands for any number of components, sent as a list; those are left to the callback.
    if any(str(part["id"]).startswith("{") for part in expected):
        return True
    return [(part.get("id"), part["property"]) for part in given] == [(part["id"], part["property"]) for part in expected]

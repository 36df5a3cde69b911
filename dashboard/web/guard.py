"""Who may ask, and how much at once: what a request must be before anything is computed for it.

On a loopback address nobody signs in: everyone who can reach it sits at the machine. A web page opened in the same browser
can reach it too, so requests that a browser marks as coming from another site are refused, and so are
host names that are not the machine's own (a foreign name may be made to point at this machine).
"""

from collections.abc import Collection, Iterable, Mapping
from typing import Any, Final
from urllib.parse import urlsplit

from dash.exceptions import DependencyException
from flask import Flask, Response, request
from flask.json.provider import DefaultJSONProvider
from werkzeug.datastructures import Headers
from werkzeug.exceptions import BadRequest, Forbidden, HTTPException, NotFound
from werkzeug.middleware.proxy_fix import ProxyFix

from dashboard.components import ids
from dashboard.components.faults import told
from dashboard.web import metrics
from dashboard.web.warming import READY, STATE

LOOPBACK: Final = frozenset({"localhost", "127.0.0.1", "::1"})
# The key of the Flask settings that holds the host names that are answered; None answers all.
HOSTS: Final = "FITLEDGER_HOSTS"
NAMED: Final = "FITLEDGER_NAMED_HOSTS"
# A question is a few words. Where more is taken, as by an upload, is said with take_larger.
LARGEST_BODY_BYTES: Final = 1_000_000
_LARGER: Final = "FITLEDGER_LARGER_BODIES"
# The questions of the pages are four deep.
DEEPEST_JSON: Final = 20
# Stores that every page reads, and that hold text.
_WORDS: Final = (ids.VIEW, ids.THEME)
_CALLBACK: Final = "_dash-update-component"
HEALTH: Final = "health"
_SENTENCES: Final = {
    400: "This is no request that the dashboard understands. Open the dashboard's pages in a browser.",
    404: "There is nothing at this address. The pages of the dashboard are listed on its first page.",
    405: "This address does not take requests of this kind. Open the dashboard's pages in a browser.",
    411: "The request does not say how long it is. Send its length.",
    413: f"The request is larger than the {LARGEST_BODY_BYTES:,} bytes that are taken here. Ask for less at once.",
    415: "The request holds no JSON. Open the dashboard's pages in a browser.",
    431: "The request's address and headers are longer than what is taken here. Choose fewer at once, or clear the cookies.",
    501: "The request comes in a form that is not taken here. Open the dashboard's pages in a browser.",
    503: "Several large files are on their way here at this moment. Nothing was changed. Send yours again in a minute.",
}


def add_guard(server: Flask, prefix: str, callbacks: Mapping[str, Any]) -> None:
    """Checks every request, and answers what is refused or fails with one sentence as plain text.

    `callbacks`: what the screens registered, by output. Call when every route is added.
    """
    server.json = _BoundedJSON(server)
    health, ready = prefix + HEALTH, prefix + READY

    @server.before_request
    def check() -> Response | None:
        request.max_content_length = largest_body_bytes(server, request.path)
        require_host(request.host, server.config[HOSTS])
        if request.path == health and request.method in ("GET", "HEAD"):
            # Answered before anything is asked of who it is: the server's own loop comes here while every thread is at work.
            return Response("OK", mimetype="text/plain")
        if request.path == ready and request.method in ("GET", "HEAD"):
            return _readiness(server)
        require_same_site(request.method, request.headers, request.host)
        if request.path == prefix + metrics.METRICS and request.method in ("GET", "HEAD"):
            watched: metrics.Watched = server.config[metrics.STATE]
            return watched.answer_to(request)
        if request.method == "POST" and request.path == f"{prefix}{_CALLBACK}":
            require_callback(request.get_json(), callbacks)
        return None

    @server.errorhandler(HTTPException)
    def refuse(fault: HTTPException) -> Response:
        code = fault.code or 500
        # What the guard itself says is ours; the library's words for the same codes are for programmers.
        words = fault.description if isinstance(fault, _Refused) else sentence_for(code, fault.name)
        return Response(f"{words}\n", code, mimetype="text/plain")

    @server.errorhandler(DependencyException)
    def miss(_: DependencyException) -> Response:
        """Answers a file that Dash has not as one that is not found, which Dash would take for a fault of the program."""
        return refuse(NotFound())

    @server.errorhandler(Exception)
    def fail(fault: Exception) -> Response:
        return Response(f"{told(fault)}\n", 500, mimetype="text/plain")


def _readiness(server: Flask) -> Response:
    """Whether the first answers are made: 200 where they are, 503 where some are not yet."""
    state = server.config.get(STATE, dict)()
    return Response(server.json.dumps(state), 200 if state.get("ready", True) else 503, mimetype="application/json")


def allow_hosts(server: Flask, named: Collection[str], *, is_loopback: bool) -> None:
    """Which host names are answered: those of this machine and the named ones; where the dashboard is served on other
    addresses and none is named, every one, since the names of a network are not known here."""
    server.config[NAMED] = tuple(named)
    server.config[HOSTS] = LOOPBACK | {name.lower() for name in named} if is_loopback or named else None


def take_larger(server: Flask, path: str, n_bytes: int) -> None:
    """Takes bodies of up to `n_bytes` at one path."""
    server.config.setdefault(_LARGER, {})[path] = n_bytes


def largest_body_bytes(server: Flask, path: str) -> int:
    """How many bytes a body may have at a path, for the server that receives it and for the program that reads it."""
    return int(server.config.get(_LARGER, {}).get(path, LARGEST_BODY_BYTES))


def sentence_for(code: int, name: str) -> str:
    """What a reader is told of a refusal that has no sentence of its own."""
    return _SENTENCES.get(code, f"{name}.")


def trust_proxy(server: Flask) -> None:
    """Takes the reader's address, scheme and host from the one proxy in front, which must set them anew itself."""
    server.wsgi_app = ProxyFix(server.wsgi_app, x_for=1, x_proto=1, x_host=1)  # type: ignore[method-assign]


class _BoundedJSON(DefaultJSONProvider):
    """JSON as deep as a question may be; a ValueError, as for what is no JSON, where it is deeper."""

    def loads(self, s: str | bytes, **options: Any) -> Any:
        try:
            content = super().loads(s, **options)
        except RecursionError as fault:
            raise ValueError("too deep") from fault
        level = [content]
        for _ in range(DEEPEST_JSON):
            level = [part for one in level for part in _parts_of(one)]
            if not level:
                return content
        raise ValueError("too deep")


def _parts_of(value: Any) -> Iterable[Any]:
    if isinstance(value, dict):
        return value.values()
    return value if isinstance(value, list) else ()


class _Refused(HTTPException):
    """Refused by the guard, with a sentence of its own."""


class _UnknownHost(_Refused, BadRequest):
    pass


class _FromElsewhere(_Refused, Forbidden):
    pass


class _NoQuestion(_Refused, BadRequest):
    pass


def require_host(host: str, hosts: Collection[str] | None) -> None:
    """Refuses a host name (with or without a port) that is not among `hosts`; None takes all.

    Not Flask's TRUSTED_HOSTS, which knows no address of version 6 and no capitals (Werkzeug 3.1).
    """
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
        # Compared as text: what is no address at all is not taken apart.
        is_ours = origin is None or (origin.partition("://")[2] or None) == host
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

"""Takes note in the log of access: of what readers of the dashboard open, download and change, and of what commands do."""

import getpass
import logging
import threading
import time
from collections import OrderedDict
from collections.abc import Callable, Collection
from pathlib import Path
from typing import Final

from flask import Flask, Response, g, has_request_context, request

from dashboard.questions.door.readers import Reader
from etl.keeping.access_log import AccessLog
from shared.errors import AccessLogError

THIS_MACHINE: Final = "this machine"
UNKNOWN: Final = "unknown name"
# A page asks anew with every filter and theme; the same reader's look at the same thing is noted once in this time.
LOOK_SECONDS: Final = 600.0
_KEPT: Final = 1_000
# Parts of an address that are no secret and no word of a reader.
_TOLD: Final = ("question", "table", "place")
log = logging.getLogger("fitledger.accounts")


class ReaderNotes:
    """The notes of one served dashboard.

    `is_needed`: nothing of single riders is given without a note, as where readers sign in. On the machine itself, whoever
    reads could read the file as well: there a note that cannot be taken is told in the program's own log.
    """

    def __init__(
        self,
        access: AccessLog,
        reader: Callable[[], Reader],
        *,
        is_needed: bool,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self.access = access
        self._reader = reader
        self._is_needed = is_needed
        self._clock = clock
        self._lock = threading.Lock()
        self._looks: OrderedDict[tuple[str, str, tuple[str, ...]], float] = OrderedDict()

    def opened(self, what: str, riders: tuple[str, ...]) -> None:
        """Notes a look of a page. What is asked by its own address is noted as it leaves, since it may be a file. Raises
        AccessLogError where a note is needed and fails."""
        if not has_request_context():
            return
        if request.method != "POST":
            g.setdefault("fitledger_opened", []).append((what, riders))
            return
        self._look(what, riders)

    def _look(self, what: str, riders: tuple[str, ...]) -> None:
        look = (self._who(), what, riders)
        with self._lock:
            noted = self._looks.get(look)
            if noted is not None and self._clock() - noted < LOOK_SECONDS:
                return
        self._take("opened", what, riders)
        with self._lock:
            self._looks[look] = self._clock()
            self._looks.move_to_end(look)
            while len(self._looks) > _KEPT:
                self._looks.popitem(last=False)

    def done(self, did: str, what: str) -> None:
        """Notes what was changed. It is changed already, so that a failure is told in the program's own log."""
        try:
            self.access.add(self._who(), "dashboard", did, what)
        except AccessLogError as fault:
            log.error("%s %s: %s", did, what, fault)

    def signing(self, who: str, did: str, what: str = "", *, is_needed: bool = False) -> None:
        """Notes a step of signing in or out by `who`. Raises AccessLogError where it is needed and fails."""
        try:
            self.access.add(who, "dashboard", did, what)
        except AccessLogError as fault:
            log.error("%s: %s", did, fault)
            if is_needed:
                raise

    def add_to(self, server: Flask, prefix: str) -> None:
        """Notes every file that leaves the dashboard, whatever its route, and what else names riders."""

        @server.after_request
        def note_leaving(response: Response) -> Response:
            opened: list[tuple[str, tuple[str, ...]]] = g.pop("fitledger_opened", [])
            if response.status_code != 200:
                return response
            try:
                if response.headers.get("Content-Disposition", "").startswith("attachment"):
                    riders = dict.fromkeys(rider for _, named in opened for rider in named)
                    self._take("downloaded", _what(prefix), tuple(riders))
                else:
                    for what, named in opened:
                        self._look(what, named)
            except AccessLogError as fault:
                return Response(f"{fault}\n", 503, mimetype="text/plain")
            return response

    def _take(self, did: str, what: str, riders: tuple[str, ...]) -> None:
        try:
            self.access.add(self._who(), "dashboard", did, what, riders=riders)
        except AccessLogError as fault:
            log.error("%s %s: %s", did, what, fault)
            if self._is_needed:
                raise AccessLogError(
                    f"This is not shown, since riders' data are given only with a note of who opened them, and: {fault}"
                ) from fault

    def _who(self) -> str:
        return self._reader().name or THIS_MACHINE


def _what(prefix: str) -> str:
    """The file by its route, with the words that are no secret, and the list that was asked for."""
    what = request.url_rule.rule.removeprefix(prefix) if request.url_rule else "file"
    for name, value in (request.view_args or {}).items():
        what = what.replace(f"<{name}>", str(value) if name in _TOLD else "…")
    return " ".join([what, *request.args.getlist("rows")])


def noted(
    warehouse: Path,
    did: str,
    what: str = "",
    *,
    riders: Collection[str] = (),
    sessions: Collection[str] = (),
    tell: Callable[[str], None] | None = None,
) -> None:
    """Notes what a command did or gives, by the operating system's user. Where that fails, the command tells so and goes on:
    who may run it may read the warehouse without it."""
    import typer

    try:
        AccessLog(warehouse).add(user_of_command(), "command", did, what, riders=riders, sessions=sessions)
    except AccessLogError as fault:
        (tell or (lambda words: typer.echo(words, err=True)))(f"Not noted in the log of access: {fault}")


def tidy(access: AccessLog) -> None:
    """Takes out of the log what is older than it is to be kept, as a server starts; that it cannot is told in the program's
    log."""
    try:
        access.drop_old()
    except AccessLogError as fault:
        log.error("%s", fault)


def user_of_command() -> str:
    """The operating system's user, who runs a command."""
    try:
        return getpass.getuser()
    except (KeyError, OSError):
        return "user without a name"  # as of a container's number

"""A waitress server that nobody holds up: every connection has so long for what it is at, and an address so many of them.

Waitress reads requests in one loop before a thread takes them, and sends answers from it: a slow client holds no thread. It
knows no deadline for a whole request, no least rate and no bound for an address; those are added here from outside. The loop
looks at each connection once a second, sees what it is at and how many bytes it has moved, and lets go those whose time is up.
What is used of waitress beyond its documentation is listed in tests/unit/test_connections.py.
"""

import logging
import socket
import time
from collections import deque
from collections.abc import Callable
from contextlib import suppress
from http import HTTPStatus
from ipaddress import ip_address, ip_network
from typing import Any, Final

from waitress import wasyncore
from waitress.channel import HTTPChannel
from waitress.parser import HTTPRequestParser
from waitress.server import TcpWSGIServer
from waitress.task import ErrorTask
from waitress.utilities import Error

from dashboard.web.allowance import Allowance, At
from dashboard.web.guard import LARGEST_BODY_BYTES, sentence_for
from dashboard.web.headers import HEADERS
from shared.settings_running import Serving

# What is running when the server is told to stop has so long to end.
GRACE_SECONDS: Final = 10.0
LARGEST_HEAD_BYTES: Final = 32_768
# Bodies beyond what is taken anywhere, exports on their way, lie on the disk until they are whole: so many at once.
LARGE_BODIES_AT_ONCE: Final = 4
_TAKEN_AT_ONCE: Final = 16
_READ_AT_THE_END: Final = 8
_LATE: Final = (
    b"HTTP/1.1 408 Request Timeout\r\nConnection: close\r\nContent-Type: text/plain; charset=utf-8\r\n\r\n"
    b"The request did not arrive in time. Send it again.\n"
)
log = logging.getLogger("fitledger.dashboard")


class Parser(HTTPRequestParser):  # type: ignore[misc]  # waitress is untyped
    """Refuses what the head already tells, before the body comes."""

    error: Error | None

    def received(self, data: bytes) -> int:
        had_head = self.headers_finished
        consumed: int = super().received(data)
        if self.headers_finished and not (had_head or self.error or self.empty):
            self.error = self.adj.refusal_of(self)
        if self.error:
            self.completed = True
        if self.completed:
            # Waitress would bid a client go on that is refused already, and take the body after all.
            self.expect_continue = False
        return consumed


class Told(ErrorTask):  # type: ignore[misc]
    """A refusal of the server itself, as one sentence of ours."""

    def execute(self) -> None:
        error = self.request.error
        body = f"{sentence_for(error.code, error.reason)}\n".encode()
        self.status = f"{error.code} {error.reason}"
        self.response_headers.extend([("Content-Type", "text/plain; charset=utf-8"), *HEADERS.items()])
        self.set_close_on_finish()
        self.content_length = len(body)
        self.write(body)


class Connection(HTTPChannel):  # type: ignore[misc]
    """A connection that knows what it is at and how much of its time is used."""

    parser_class = Parser
    error_task_class = Told
    sent_bytes = 0
    is_leaving = False
    used = 0.0

    def __init__(self, server: "Server", sock: socket.socket, addr: tuple[Any, ...], adj: Any, map: Any = None) -> None:  # noqa: A002
        super().__init__(server, sock, addr, adj, map=map)
        self.origin = origin_of(addr[0])
        self._allowance = Allowance(server.limits)
        self.look(server.clock())
        server.make_room_for(self)

    def send(self, data: bytes, do_close: bool = True) -> int:
        n_bytes: int = super().send(data, do_close)
        self.sent_bytes += n_bytes
        return n_bytes

    @property
    def at(self) -> At:
        """What the connection is at."""
        if self.total_outbufs_len:
            return At.ANSWER
        if self.requests:
            return At.WORK
        if self.request is None and self.sent_bytes:
            return At.NOTHING
        return At.BODY if self.request is not None and self.request.headers_finished else At.HEAD

    def look(self, now: float) -> None:
        """Brings up to date how much of its time is used."""
        request, at = self.request, self.at
        moved = request.body_bytes_received if at is At.BODY and request else self.sent_bytes
        # A connection that is at the same again after an answer has all its time again.
        self.used = self._allowance.look(at, 0 if at is At.ANSWER else self.sent_bytes, moved, now)

    def let_go(self) -> None:
        """Ends the connection; a client that has sent half a request is told why."""
        if self.request is not None and self.connected and not self.total_outbufs_len:
            with suppress(OSError):
                self.socket.send(_LATE)
        with suppress(OSError):
            self.handle_close()

    def handle_close(self) -> None:
        """Ends the connection; what has come is read first, since the system takes back what it sends over unread data."""
        if self.socket is not None:
            with suppress(OSError):
                self.socket.shutdown(socket.SHUT_WR)
                for _ in range(_READ_AT_THE_END):
                    if not self.socket.recv(1 << 16):
                        break
        super().handle_close()

    def handle_expt(self) -> None:
        """Urgent data, which no browser sends; unread, they would wake the loop for ever."""
        self.handle_close()

    def handle_error(self) -> None:
        """A fault in reading or writing ends this connection alone; the log names no address."""
        log.exception("A connection failed and was ended")
        self.handle_close()


class Server(TcpWSGIServer):  # type: ignore[misc]
    """Serves `application` on a listening socket.

    `health`: the path that is answered by the loop itself, so that it is answered while every thread is at work. `largest`: how
    many bytes a body at a path may have. `clock`: seconds, from any beginning.
    """

    channel_class = Connection

    def __init__(
        self,
        application: Callable[..., Any],
        listener: socket.socket,
        limits: Serving,
        *,
        threads: int,
        health: str,
        largest: Callable[[str], int],
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self.limits, self.clock = limits, clock
        self._health, self._largest = health, largest
        self._at_once: deque[Connection] = deque()
        self._held: deque[Connection] = deque()
        self._leaving: list[tuple[Connection, At]] = []
        self._is_stopping = self._is_over = False
        super().__init__(
            application,
            _sock=listener,
            sockinfo=(listener.family, listener.type, listener.proto, listener.getsockname()),
            bind_socket=False,
            threads=threads,
            ident=None,
            # Bounds of our own come first: see make_room_for and Allowance.
            connection_limit=limits.connections + 100,
            cleanup_interval=1,
            # A thread never waits for a client to read; what is not read yet lies on the disk.
            outbuf_high_watermark=1 << 40,
            max_request_header_size=LARGEST_HEAD_BYTES,
            max_request_body_size=1 << 40,
            log_socket_errors=False,
            # Who is believed about the reader's address is decided by guard.trust_proxy.
            clear_untrusted_proxy_headers=False,
        )
        self.adj.refusal_of = self._refusal_of

    def stop(self) -> None:
        """Takes nothing new from now on, and lets `run` end once what runs is answered. May be called by a signal's handler."""
        self._is_stopping = True
        if not self._is_over:
            self.pull_trigger()

    def run(self) -> bool:
        """Serves until `stop`; whether every thread had ended its work in time."""
        while not self._is_stopping:
            self._turn(1.0)
        # The listening socket alone: threads still wake the loop.
        wasyncore.dispatcher.close(self)
        ends_at = self.clock() + GRACE_SECONDS
        while self.active_channels and self.clock() < ends_at:
            for connection in list(self.active_channels.values()):
                if connection.at not in (At.WORK, At.ANSWER):
                    self._leave(connection)
            self._turn(0.1)
        self.task_dispatcher.shutdown(timeout=max(0.5, ends_at - self.clock()))
        self._is_over = True
        if self.task_dispatcher.threads:
            return False
        for connection in list(self.active_channels.values()):
            connection.handle_close()
        self.trigger.close()
        return True

    def _turn(self, most_seconds: float) -> None:
        """One turn of the loop; connections end after it, since the next one may get their number."""
        self.asyncore.loop(timeout=most_seconds, use_poll=True, map=self._map, count=1)
        for _ in range(len(self._at_once)):
            self._at_once.popleft().service()
        for _ in range(len(self._held)):
            connection = self._held.popleft()
            if connection.connected:
                self.add_task(connection)
        while self._leaving:
            connection, was_at = self._leaving.pop()
            connection.is_leaving = False
            # Since it was chosen its request may have come, and is being answered.
            if connection.at is was_at or connection.at not in (At.WORK, At.ANSWER):
                connection.let_go()

    def handle_accept(self) -> None:
        for _ in range(_TAKEN_AT_ONCE):
            super().handle_accept()

    def handle_error(self) -> None:
        """A fault in taking one connection, as where its client has gone already: the next is taken all the same."""
        log.exception("A connection could not be taken")

    def add_task(self, task: Connection) -> None:
        """Has the first request of a connection answered: by the loop, by a thread, or after the answer before it was read."""
        request = task.requests[0]
        if task.total_outbufs_len:
            self._held.append(task)
        elif not request.error and request.body_rcv is None and self._is_health(request):
            # Whoever asks, and whatever he was given: nothing is looked up for it.
            request.headers.pop("COOKIE", None)
            self._at_once.append(task)
        else:
            super().add_task(task)

    def _is_health(self, request: Parser) -> bool:
        return bool(request.path == self._health and request.command in ("GET", "HEAD"))

    def maintenance(self, now: float) -> None:
        """Once a second: ends the connections whose time is up. `now`, the wall's clock, may be set, and is not used."""
        # Threads may end connections too.
        for connection in list(self.active_channels.values()):
            connection.look(self.clock())
            if connection.used >= 1:
                self._leave(connection)

    def make_room_for(self, newcomer: Connection) -> None:
        """Where there are too many connections, of an address or in all, ends the one that has used most of its time; one that
        has never asked anything whole goes first.

        One that is being answered never goes; where all are, the newcomer goes.
        """
        present = [one for one in list(self.active_channels.values()) if not one.is_leaving]
        beside = [one for one in present if one.origin == newcomer.origin]
        if len(present) > self.limits.connections:
            crowd = present
        # All that come through a proxy have its address; the proxy knows the readers' own (docs/running.md).
        elif len(beside) > self.limits.connections_per_address and not self.limits.behind_proxy:
            crowd = beside
        else:
            return
        may_go = (one for one in crowd if one is not newcomer and one.at is not At.WORK)
        # Of equals the one that came first.
        self._leave(max(may_go, key=lambda one: (not one.sent_bytes, one.used), default=newcomer))

    def _leave(self, connection: Connection) -> None:
        if not connection.is_leaving:
            connection.is_leaving = True
            self._leaving.append((connection, connection.at))

    def _refusal_of(self, request: Parser) -> Error | None:
        """What is wrong with a request as far as its head tells."""
        if request.chunked or "TRANSFER_ENCODING" in request.headers:
            return _refusal(HTTPStatus.LENGTH_REQUIRED)
        if request.content_length > self._largest(request.path):
            return _refusal(HTTPStatus.REQUEST_ENTITY_TOO_LARGE)
        if request.content_length > LARGEST_BODY_BYTES:
            coming = (one.request for one in list(self.active_channels.values()) if one.request is not None)
            if sum(one.content_length > LARGEST_BODY_BYTES for one in coming) > LARGE_BODIES_AT_ONCE:
                return _refusal(HTTPStatus.SERVICE_UNAVAILABLE)
        return None


def _refusal(status: HTTPStatus) -> Error:
    error = Error("")
    error.code, error.reason = status.value, status.phrase
    return error


def origin_of(address: str) -> str:
    """Whom connections are counted for: an IPv4 address, or the network of an IPv6 one, of which each household has a whole."""
    with suppress(ValueError):
        ip = ip_address(address.partition("%")[0])
        if ip.version == 6:
            return str(ip_network((ip, 64), strict=False))
    return address

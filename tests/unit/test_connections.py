"""Connections under bounds: how long each may take, how many an address may hold, and what is answered all the same.

Clocks are set by hand; sockets are real. What is used of waitress beyond its documentation is listed in the last test.
"""

import inspect
import re
import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from importlib.metadata import version
from pathlib import Path
from typing import Any

import pytest
import waitress.channel
import waitress.parser
import waitress.server
import waitress.task
import waitress.utilities
import waitress.wasyncore

from dashboard.web.allowance import Allowance, At
from dashboard.web.connections import LARGE_BODIES_AT_ONCE, LARGEST_HEAD_BYTES, Server, origin_of
from dashboard.web.guard import LARGEST_BODY_BYTES
from shared.settings_running import Serving

THREADS = 2
LIMITS = Serving(connections_per_address=8, connections=12)
GET = b"GET %s HTTP/1.1\r\nHost: localhost\r\n\r\n"


def lasts(at: At, bytes_a_second: float, seconds: float, limits: Serving | None = None) -> float:
    """How many seconds a connection lasts that moves so much, and at most `seconds`."""
    allowance, used = Allowance(limits or Serving()), 0.0
    for second in range(int(seconds) + 1):
        used = allowance.look(at, 0, int(second * bytes_a_second), float(second))
        if used >= 1:
            return second
    return seconds


@pytest.mark.parametrize(
    ("at", "bytes_a_second", "expected"),
    [
        (At.HEAD, 0, 10),  # header_seconds
        (At.HEAD, 1e6, 10),  # a head is short, however quick
        (At.BODY, 0.3, 31),  # body_seconds; a byte every three seconds does not help
        (At.BODY, 2000, 60),  # at half the least rate, twice as long
        (At.BODY, 4000, 4_000),
        (At.ANSWER, 10, 31),
        (At.ANSWER, 8000, 4_000),
        (At.NOTHING, 0, 60),  # idle_seconds
        (At.WORK, 0, 4_000),  # the server's own time is nobody's fault
    ],
)
def test_how_long_a_connection_lasts(at: At, bytes_a_second: float, expected: float) -> None:
    assert lasts(at, bytes_a_second, 4_000) == pytest.approx(expected, abs=1)


def test_a_phone_on_a_slow_link_ends_its_upload_with_pauses() -> None:
    allowance, moved = Allowance(Serving()), 0
    for second in range(7200):
        if moved >= 50_000_000:
            return
        # Eight kilobytes a second, and a tunnel of a minute every ten minutes.
        moved += 0 if 60 < second % 600 < 120 else 8000
        assert allowance.look(At.BODY, 0, moved, float(second)) < 1, second
    assert moved >= 50_000_000


def test_what_was_quick_does_not_stand_still_for_ever() -> None:
    allowance = Allowance(Serving())
    allowance.look(At.BODY, 0, 0, 0.0)
    assert allowance.look(At.BODY, 0, 50_000_000, 1.0) < 1
    assert allowance.look(At.BODY, 0, 50_000_000, 1.0 + 4 * 30 - 1) < 1
    assert allowance.look(At.BODY, 0, 50_000_000, 1.0 + 4 * 30) >= 1


def test_another_round_begins_anew() -> None:
    allowance = Allowance(Serving())
    allowance.look(At.NOTHING, 0, 0, 0.0)
    assert allowance.look(At.NOTHING, 0, 0, 60.0) >= 1
    assert allowance.look(At.NOTHING, 500, 500, 61.0) == 0
    assert allowance.look(At.HEAD, 500, 500, 62.0) == 0


class Served:
    """A server in a thread, whose clock is set by hand and whose application waits where it is told to."""

    def __init__(self, limits: Serving) -> None:
        self.now = 0.0
        self.asked: list[str] = []
        self.forwarded: list[str | None] = []
        self.clients: list[socket.socket] = []
        self.go_on = threading.Event()
        self.ended: bool | None = None
        listener = socket.create_server(("127.0.0.1", 0))
        self.port = listener.getsockname()[1]
        self.server = Server(
            self.application,
            listener,
            limits,
            threads=THREADS,
            health="/health",
            largest=lambda path: 50_000_000 if path == "/upload" else LARGEST_BODY_BYTES,
            clock=lambda: self.now,
        )
        self.server.adj.cleanup_interval = 0  # look at every turn of the loop
        self.thread = threading.Thread(target=self.run)
        self.thread.start()

    def run(self) -> None:
        self.ended = self.server.run()

    def application(self, environ: dict[str, Any], start_response: Callable[..., Any]) -> list[bytes]:
        path = environ["PATH_INFO"]
        self.asked.append(path)
        self.forwarded.append(environ.get("HTTP_X_FORWARDED_FOR"))
        if path == "/wait":
            assert self.go_on.wait(60)
        body = bytes(30_000_000) if path == "/long" else b"cookie" if "HTTP_COOKIE" in environ else b"ok"
        start_response("200 OK", [("Content-Length", str(len(body)))])
        return [body]

    def client(self, said: bytes = b"") -> socket.socket:
        client = socket.create_connection(("127.0.0.1", self.port), timeout=60)
        self.clients.append(client)
        client.sendall(said)
        return client

    def until(self, holds: Callable[[], object]) -> None:
        """Lets the loop turn until something holds."""
        for _ in range(3000):
            if holds():
                return
            if self.ended is None:
                self.server.pull_trigger()
            threading.Event().wait(0.01)
        raise AssertionError("It never came to hold.")

    def later(self, seconds: float) -> None:
        """Moves the clock, once the loop has seen how things stand and without a pause that it would see as one."""
        turns = self.server.next_channel_cleanup
        self.until(lambda: self.server.next_channel_cleanup > turns)
        self.now += seconds
        self.server.pull_trigger()


@contextmanager
def served(limits: Serving = LIMITS) -> Iterator[Served]:
    one = Served(limits)
    try:
        yield one
    finally:
        one.go_on.set()
        one.server.stop()
        one.thread.join(5)
        one.now += 1000
        one.thread.join(60)
        if one.ended is False:  # nothing is put in order beneath threads that still run
            one.until(lambda: not one.server.task_dispatcher.threads)
            for connection in list(one.server.active_channels.values()):
                connection.handle_close()
            one.server.trigger.close()
        for client in one.clients:
            client.close()
        assert not one.thread.is_alive()


def answer(client: socket.socket) -> bytes:
    """All that comes until the server ends the connection."""
    got = b""
    while part := client.recv(1 << 16):
        got += part
    return got


def first_line(client: socket.socket) -> bytes:
    """Reads one answer whole; gives its first line."""
    got = b""
    while b"\r\n\r\n" not in got:
        part = client.recv(1 << 16)
        assert part, got
        got += part
    head, _, body = got.partition(b"\r\n\r\n")
    length = re.search(rb"Content-Length: (\d+)", head)
    while length and len(body) < int(length[1]):
        part = client.recv(1 << 16)
        assert part, got
        body += part
    return head.partition(b"\r\n")[0]


def test_health_is_answered_while_every_thread_is_at_work_and_others_wait() -> None:
    with served(Serving()) as one:
        clients = [one.client(GET % b"/wait") for _ in range(THREADS + 3)]
        one.until(lambda: one.asked == ["/wait"] * THREADS)
        assert first_line(one.client(GET % b"/health")) == b"HTTP/1.1 200 OK"
        assert one.asked == ["/wait"] * THREADS + ["/health"]
        # Nothing is looked up for it, and no other request passes as one.
        asker = one.client(b"GET /health HTTP/1.1\r\nHost: localhost\r\nCookie: fitledger=x\r\nConnection: close\r\n\r\n")
        assert answer(asker).endswith(b"ok")
        for other in (
            b"GET //health HTTP/1.1",
            b"POST /health HTTP/1.1",
            b"GET /health/x HTTP/1.1",
            b"GET /wait?/health HTTP/1.1",
        ):
            one.client(other + b"\r\nHost: localhost\r\n\r\n").close()
        one.until(lambda: not one.server._at_once)
        assert len(one.asked) == THREADS + 2
        one.go_on.set()
        assert [first_line(client) for client in clients] == [b"HTTP/1.1 200 OK"] * len(clients)


HALVES = [
    b"",
    b"GET /health HTTP/1.1\r\nX-Drip: ",
    b"POST /login HTTP/1.1\r\nHost: localhost\r\nContent-Length: 99\r\n\r\nname=",
    b"POST /login HTTP/1.1\r\nHost: localhost\r\nContent-Length: 99\r\nExpect: 100-continue\r\n\r\n",
]


@pytest.mark.parametrize("half", HALVES)
def test_half_a_request_has_its_time_and_no_more_however_it_is_dripped(half: bytes) -> None:
    with served() as one:
        client = one.client(half)
        one.until(lambda: one.server.active_channels)
        for _ in range(5):
            one.later(7)
            with suppress(OSError):
                client.send(b"x")
        one.until(lambda: not one.server.active_channels)
        assert one.asked == []


def test_a_client_that_is_let_go_is_told_why() -> None:
    with served() as one:
        client = one.client(HALVES[2])
        one.until(lambda: [each for each in list(one.server.active_channels.values()) if each.at is At.BODY])
        one.later(31)
        told = answer(client)
    assert told.startswith(b"HTTP/1.1 408 ") and told.endswith(b"did not arrive in time. Send it again.\n")


def test_a_connection_that_asks_now_and_then_is_kept() -> None:
    with served() as one:
        client = one.client()
        for _ in range(4):
            one.later(9)  # less than a first request may take
            client.sendall(GET % b"/")
            assert first_line(client) == b"HTTP/1.1 200 OK"
            one.later(50)
            client.sendall(GET % b"/")
            assert first_line(client) == b"HTTP/1.1 200 OK"
        one.until(lambda: [each.at for each in list(one.server.active_channels.values())] == [At.NOTHING])
        one.later(61)
        assert answer(client) == b""


def test_an_address_at_its_bound_loses_what_has_waited_longest_and_never_what_is_being_answered() -> None:
    with served() as one:
        working = [one.client(GET % b"/wait") for _ in range(THREADS)]
        one.until(lambda: len(one.asked) == THREADS)
        kept = one.client()
        kept.sendall(GET % b"/health")
        assert first_line(kept) == b"HTTP/1.1 200 OK"
        drippers = []
        for _ in range(LIMITS.connections_per_address - THREADS - 1):
            drippers.append(one.client(HALVES[1]))
            one.until(lambda: len(one.server.active_channels) == THREADS + 1 + len(drippers))
            one.later(1)
        # It is full. Two more come, the two oldest drippers go; who has asked something whole stays.
        honest = [one.client(GET % b"/health") for _ in range(2)]
        assert [first_line(client) for client in honest] == [b"HTTP/1.1 200 OK"] * 2
        assert [answer(dripper)[:12] for dripper in drippers[:2]] == [b"HTTP/1.1 408"] * 2
        kept.sendall(GET % b"/health")
        assert first_line(kept) == b"HTTP/1.1 200 OK"
        one.go_on.set()
        assert [first_line(client) for client in working] == [b"HTTP/1.1 200 OK"] * THREADS


def test_a_request_that_comes_while_its_connection_is_chosen_to_go_is_answered() -> None:
    with served() as one:
        client = one.client()
        one.until(lambda: one.server.active_channels)
        (connection,) = one.server.active_channels.values()
        # In one turn of the loop: chosen as a newcomer is taken, and then its request is read.
        received = connection.received

        def chosen_and_received(data: bytes) -> bool:
            one.server._leave(connection)
            return bool(received(data))

        connection.received = chosen_and_received
        client.sendall(GET % b"/wait")
        one.until(lambda: one.asked)
        one.go_on.set()
        assert first_line(client) == b"HTTP/1.1 200 OK"


def test_where_all_are_being_answered_the_newcomer_goes() -> None:
    with served() as one:
        working = [one.client(GET % b"/wait") for _ in range(LIMITS.connections_per_address)]
        one.until(lambda: len(one.server.active_channels) == LIMITS.connections_per_address)
        one.until(lambda: all(each.at is At.WORK for each in list(one.server.active_channels.values())))
        assert answer(one.client()) == b""
        one.go_on.set()
        assert [first_line(client) for client in working] == [b"HTTP/1.1 200 OK"] * len(working)


def test_behind_a_proxy_the_bound_of_all_counts_alone() -> None:
    with served(LIMITS.model_copy(update={"behind_proxy": True})) as one:
        clients = [one.client() for _ in range(LIMITS.connections + 3)]
        one.until(lambda: len(one.server.active_channels) == LIMITS.connections)
        assert len(clients) > LIMITS.connections > LIMITS.connections_per_address


def test_clients_that_read_nothing_hold_no_thread_and_are_let_go() -> None:
    with served() as one:
        deaf = [one.client(GET % b"/long") for _ in range(THREADS + 1)]
        one.until(lambda: [each.at for each in list(one.server.active_channels.values())] == [At.ANSWER] * len(deaf))
        assert first_line(one.client(GET % b"/")) == b"HTTP/1.1 200 OK"

        def time_passes() -> bool:
            one.now += 31  # for each client alike; what the system still takes for it buys it time
            return not [each for each in list(one.server.active_channels.values()) if each.at is At.ANSWER]

        one.until(time_passes)
        one.until(lambda: one.server.task_dispatcher.active_count == 0)


def test_what_is_sent_ahead_is_answered_one_by_one_as_it_is_read() -> None:
    with served() as one:
        client = one.client((GET % b"/long") * 20)
        one.until(lambda: one.server._held)
        assert one.asked == ["/long"]
        while one.asked == ["/long"]:
            assert client.recv(1 << 20)
        client.close()


@pytest.mark.parametrize(
    ("said", "status"),
    [
        (b"nonsense\r\n\r\n", b"400"),
        (b"GET / HTTP/1.1\r\nHost: localhost\r\nX: " + b"x" * LARGEST_HEAD_BYTES + b"\r\n\r\n", b"431"),
        (b"GET / HTTP/1.1\r\nHost: localhost\r\nContent-Length: 5\r\nContent-Length: 6\r\n\r\n", b"400"),
        (b"GET / HTTP/1.1\r\nHost: localhost\r\nContent-Length: -5\r\n\r\n", b"400"),
        (b"GET / HTTP/1.1\r\nHost: localhost\r\nHead er: x\r\n\r\n", b"400"),
        (b"POST / HTTP/1.1\r\nHost: localhost\r\nTransfer-Encoding: chunked\r\n\r\n" + b"1" * 100, b"411"),
        (b"POST / HTTP/1.1\r\nHost: localhost\r\nContent-Length: 5\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\n", b"411"),
        (b"POST / HTTP/1.0\r\nHost: localhost\r\nContent-Length: 5\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\n", b"411"),
        (b"POST / HTTP/1.1\r\nHost: localhost\r\nTransfer-Encoding: gzip\r\n\r\n", b"501"),
        (b"POST / HTTP/1.1\r\nHost: localhost\r\nContent-Length: 1000001\r\n\r\n", b"413"),
        (b"POST /upload HTTP/1.1\r\nHost: localhost\r\nContent-Length: 50000001\r\nExpect: 100-continue\r\n\r\n", b"413"),
    ],
)
def test_what_the_head_tells_is_refused_at_once_with_one_sentence(said: bytes, status: bytes) -> None:
    with served() as one:
        told = answer(one.client(said))
        assert one.asked == []
    head, _, body = told.partition(b"\r\n\r\n")
    assert head.startswith(b"HTTP/1.0 " + status) or head.startswith(b"HTTP/1.1 " + status)
    assert b"X-Content-Type-Options: nosniff" in head and b"Server:" not in head and b"Via:" not in head
    assert body.endswith(b".\n") and body.count(b"\n") == 1 and b"waitress" not in told


def test_a_body_that_may_be_large_is_bidden_to_come_and_few_come_at_once() -> None:
    head = b"POST /upload HTTP/1.1\r\nHost: localhost\r\nContent-Length: 2000000\r\nExpect: 100-continue\r\n\r\n"
    with served() as one:
        coming = [one.client(head) for _ in range(LARGE_BODIES_AT_ONCE)]
        assert [first_line(client) for client in coming] == [b"HTTP/1.1 100 Continue"] * LARGE_BODIES_AT_ONCE
        assert b" 503 " in first_line(one.client(head))
        coming[0].sendall(bytes(2_000_000))
        assert first_line(coming[0]) == b"HTTP/1.1 200 OK"
        assert first_line(one.client(head)) == b"HTTP/1.1 100 Continue"


def test_a_connection_that_cannot_be_taken_is_the_only_one_that_is_lost(caplog: pytest.LogCaptureFixture) -> None:
    with served() as one:
        try:
            raise OSError("The client has gone already.")
        except OSError:
            one.server.handle_error()  # as the loop does
        assert first_line(one.client(GET % b"/health")) == b"HTTP/1.1 200 OK"
    assert "could not be taken" in caplog.text


def test_urgent_data_end_a_connection() -> None:
    with served() as one:
        client = one.client()
        one.until(lambda: one.server.active_channels)
        client.send(b"!", socket.MSG_OOB)
        one.until(lambda: not one.server.active_channels)


def test_a_client_that_has_said_all_is_answered() -> None:
    with served() as one:
        client = one.client(GET % b"/wait")
        client.shutdown(socket.SHUT_WR)
        one.until(lambda: one.asked)
        one.go_on.set()
        assert answer(client).endswith(b"ok")


def test_the_address_that_a_proxy_sends_reaches_the_program() -> None:
    with served() as one:
        client = one.client(
            b"GET / HTTP/1.1\r\nHost: localhost\r\nX-Forwarded-For: 192.0.2.7\r\nX_Forwarded_For: 192.0.2.8\r\n\r\n"
        )
        assert first_line(client) == b"HTTP/1.1 200 OK"
        assert one.forwarded == ["192.0.2.7"]


def test_told_to_stop_it_takes_nothing_new_and_answers_what_runs() -> None:
    with served() as one:
        working = [one.client(GET % b"/wait") for _ in range(THREADS + 2)]
        one.until(lambda: len(one.asked) == THREADS)
        one.until(lambda: len(one.server.active_channels) == THREADS + 2)
        half = one.client(HALVES[1])
        one.until(lambda: len(one.server.active_channels) == THREADS + 3)
        one.server.stop()
        assert answer(half)[:12] == b"HTTP/1.1 408"
        with pytest.raises(ConnectionRefusedError):
            one.client()
        one.go_on.set()
        assert [first_line(client) for client in working] == [b"HTTP/1.1 200 OK"] * len(working)
        one.thread.join(60)
        assert one.ended is True


def test_what_does_not_end_in_time_is_told() -> None:
    with served() as one:
        one.client(GET % b"/wait")
        one.until(lambda: one.asked)
        one.server.stop()
        one.until(lambda: not one.server.accepting)
        one.now += 11
        one.server.pull_trigger()
        one.thread.join(60)
        assert one.ended is False


@pytest.mark.parametrize(
    ("address", "origin"),
    [
        ("192.0.2.7", "192.0.2.7"),
        ("2001:db8:1:2:3:4:5:6", "2001:db8:1:2::/64"),
        ("fe80::1%eth0", "fe80::/64"),
        ("localhost", "localhost"),
    ],
)
def test_an_address_stands_for_a_household(address: str, origin: str) -> None:
    assert origin_of(address) == origin


def test_what_is_used_of_waitress_is_there_as_it_was() -> None:
    """A canary: these are no part of waitress' documentation, and pyproject.toml holds its version below the next."""
    assert version("waitress").startswith("3.0.")
    sources: dict[type, tuple[str, ...]] = {
        waitress.channel.HTTPChannel: (
            "request = None", "self.requests = []", "total_outbufs_len = 0", "connected = True", "parser_class = ",
            "error_task_class = ", "def service(self)", "def handle_close(self)", "self.server.add_task(self)",
            "self.parser_class(self.adj)",
        ),
        waitress.parser.HTTPRequestParser: (
            "headers_finished = False", "body_bytes_received = 0", "content_length = 0", "chunked = False", "empty = False",
            "error = None", "completed = False", "expect_continue = False", "body_rcv = None", "self.path", "self.command =",
        ),
        waitress.server.BaseWSGIServer: (
            "self.active_channels = {}", "def maintenance(self, now)", "def handle_accept(self)", "def add_task(self, task)",
            "def pull_trigger(self)", "asyncore = wasyncore", "next_channel_cleanup = ", "self.task_dispatcher = dispatcher",
            "bind_socket=True",
        ),
        waitress.task.ErrorTask: (
            "def execute(self)", "self.response_headers", "self.set_close_on_finish()", "self.content_length",
        ),
        waitress.task.ThreadedTaskDispatcher: ("def shutdown(self, cancel_pending=True, timeout=5)", "self.threads = set()"),
        waitress.wasyncore.dispatcher: (
            "def send(self, data, do_close=True)", "def handle_expt(self)", "def handle_error(self)",
        ),
    }  # fmt: skip
    texts = {one: Path(inspect.getfile(one)).read_text(encoding="utf-8") for one in sources}
    missing = [(one.__name__, words) for one, names in sources.items() for words in names if words not in texts[one]]
    assert missing == []
    assert list(inspect.signature(waitress.wasyncore.loop).parameters) == ["timeout", "use_poll", "map", "count"]
    assert list(inspect.signature(waitress.utilities.Error).parameters) == ["body"]

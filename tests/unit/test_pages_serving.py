"""The server as it is run: a process of its own that listens, answers from several threads and ends when told to."""

import signal
import socket
import subprocess
import sys
import urllib.request
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager

from dashboard.serving import THREADS, free_port

SERVE = """
import sys
import dashboard.serving
from dashboard.app import create_app
from tests.unit.made_answers import MadeAsker
dashboard.serving.SILENCE_SECONDS = 1
dashboard.serving.serve_forever(create_app(MadeAsker()), "127.0.0.1", int(sys.argv[1]))
"""


@contextmanager
def served() -> Iterator[tuple[subprocess.Popen[str], int]]:
    """A process that serves, and its port, once it listens."""
    port = free_port("127.0.0.1")
    with subprocess.Popen(
        [sys.executable, "-c", SERVE, str(port)], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as process:
        try:
            assert process.stderr is not None
            log = []
            for line in process.stderr:
                log.append(line)
                if "Booting worker" in line:
                    break
            assert any(line.rstrip().endswith(f"Listening at: http://127.0.0.1:{port} ({process.pid})") for line in log), log
            yield process, port
        finally:
            process.kill()


def test_gunicorn_serves_from_threads_and_ends_gracefully() -> None:
    with served() as (process, port):
        with ThreadPoolExecutor(2 * THREADS) as readers:
            statuses = list(readers.map(lambda _: _status(f"http://127.0.0.1:{port}/health"), range(2 * THREADS)))
        assert statuses == [200] * (2 * THREADS)
        process.send_signal(signal.SIGTERM)
        said, _ = process.communicate(timeout=60)
        assert process.returncode == 0
        assert said == ""


def test_clients_that_fall_silent_do_not_hold_the_threads() -> None:
    head = (
        b"POST /_dash-update-component HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/json\r\nContent-Length: 99\r\n"
    )
    with served() as (process, port):
        silent = [socket.create_connection(("127.0.0.1", port), timeout=60) for _ in range(THREADS)]
        for place, client in enumerate(silent):
            client.sendall(head if place % 2 else head + b"\r\n{")  # half a head, or half a body
        assert _status(f"http://127.0.0.1:{port}/health") == 200
        answers = [client.recv(12) for client in silent]
        for client in silent:
            client.close()
        process.send_signal(signal.SIGTERM)
        _, log = process.communicate(timeout=60)
    assert answers == [b"HTTP/1.1 400", b""] * (THREADS // 2)
    assert "Traceback" not in log


def _status(address: str) -> int:
    with urllib.request.urlopen(address, timeout=60) as response:
        return int(response.status)

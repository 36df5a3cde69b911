"""The server as it is run: a process of its own that listens, answers while others drip, and ends when told to."""

import signal
import socket
import subprocess
import sys
import threading
import urllib.request
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager, suppress
from pathlib import Path

from dashboard.web.serving import THREADS

SERVE = """
import atexit, sys, time
from pathlib import Path
import dashboard.web.connections
from dashboard.app import create_app
from dashboard.web.serving import listening, serve_forever
from shared.settings_running import Serving
from tests.unit.made_answers import MadeAsker

app = create_app(MadeAsker())

@app.server.get("/slow")
def slow():
    Path("begun").touch()
    while not Path("go-on").exists():
        time.sleep(0.01)
    return "whole"

dashboard.web.connections.GRACE_SECONDS = float(sys.argv[1])
atexit.register(Path("put-in-order").touch)
listener = listening("127.0.0.1", 0)
print(listener.getsockname()[1], flush=True)
serve_forever(app, listener, Serving(header_seconds=2, body_seconds=2))
"""
HEADS = (
    b"GET /health HTTP/1.1\r\nHost: localhost\r\nX-Drip: ",
    b"POST /_dash-update-component HTTP/1.1\r\nHost: localhost\r\nContent-Length: 9999\r\n"
    b"Content-Type: application/json\r\n\r\n",
)
DRIPPERS = 60


@contextmanager
def served(folder: Path, grace: float = 60) -> Iterator[tuple[subprocess.Popen[str], int]]:
    """A process that serves, and its port, once it listens."""
    root = Path(__file__).resolve().parents[2]
    command = [sys.executable, "-c", f"import sys; sys.path.insert(0, {str(root)!r})\n{SERVE}", str(grace)]
    with subprocess.Popen(command, cwd=folder, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as process:
        try:
            assert process.stdout is not None
            yield process, int(process.stdout.readline())
        finally:
            process.kill()


def ended(process: subprocess.Popen[str]) -> tuple[int, str]:
    """How the process ended, and all that it said."""
    said, errors = process.communicate(timeout=60)
    return process.returncode, said + errors


def test_readers_are_answered_while_many_sockets_drip_and_these_are_let_go(tmp_path: Path) -> None:
    with served(tmp_path) as (process, port):
        assert _status(port, "/health") == 200
        drippers = [socket.create_connection(("127.0.0.1", port), timeout=60) for _ in range(DRIPPERS)]
        for place, dripper in enumerate(drippers):
            dripper.sendall(HEADS[place % 2])
        let_go: list[bytes] = []
        stop, began = threading.Event(), threading.Event()

        def drip() -> None:
            # Each byte comes long before anybody would call the client silent.
            while not stop.wait(0.2):
                for dripper in drippers:
                    with suppress(OSError):
                        dripper.send(b"x")
                began.set()

        thread = threading.Thread(target=drip)
        thread.start()
        began.wait(60)
        with ThreadPoolExecutor(20) as readers:
            statuses = list(readers.map(lambda place: _status(port, ("/health", "/")[place % 2]), range(40)))
        assert statuses == [200] * 40
        for dripper in drippers:
            with suppress(ConnectionResetError):
                let_go.append(dripper.recv(12))
        stop.set()
        thread.join()
        for dripper in drippers:
            dripper.close()
        process.send_signal(signal.SIGTERM)
        code, log = ended(process)
    assert set(let_go) <= {b"HTTP/1.1 408", b""}
    assert (code, log) == (0, "")


def test_told_to_stop_it_answers_what_runs_and_puts_things_in_order(tmp_path: Path) -> None:
    with served(tmp_path) as (process, port), ThreadPoolExecutor(THREADS + 2) as readers:
        slow = [readers.submit(_status, port, "/slow") for _ in range(THREADS + 2)]
        _until_there(tmp_path / "begun")
        # Every thread is at work, and two more wait.
        assert _status(port, "/health") == 200
        process.send_signal(signal.SIGTERM)
        _until_closed(port)
        (tmp_path / "go-on").touch()
        assert [reader.result() for reader in slow] == [200] * len(slow)
        assert ended(process) == (0, "")
    assert (tmp_path / "put-in-order").exists()


def test_what_does_not_end_in_time_is_given_up_without_a_crash(tmp_path: Path) -> None:
    with served(tmp_path, grace=0.1) as (process, port), ThreadPoolExecutor(1) as readers:
        slow = readers.submit(_status, port, "/slow")
        _until_there(tmp_path / "begun")
        process.send_signal(signal.SIGINT)
        code, log = ended(process)
        assert slow.exception() is not None
    assert code == 0
    assert log == "Stopped; what still ran after the time to end it was given up\n"


def _until_there(path: Path) -> None:
    for _ in range(3000):
        if path.exists():
            return
        threading.Event().wait(0.02)
    raise AssertionError(f"{path} never came.")


def _until_closed(port: int) -> None:
    for _ in range(3000):
        try:
            socket.create_connection(("127.0.0.1", port), timeout=60).close()
        except ConnectionRefusedError:
            return
        except ConnectionResetError:  # it was being closed at this very moment
            pass
        threading.Event().wait(0.02)
    raise AssertionError("The port never closed.")


def _status(port: int, path: str) -> int:
    with urllib.request.urlopen(f"http://127.0.0.1:{port}{path}", timeout=60) as response:
        return int(response.status)

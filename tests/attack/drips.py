"""A few sockets that send a byte every second: is a health check answered meanwhile? Many more: tests/load."""

import socket
import threading
import time
from pathlib import Path
from tempfile import TemporaryDirectory

from tests.attack.rows import Row, row
from tests.load.sessions import HOST, is_well, serving

SOCKETS, CHECKS = 12, 12
_PATIENCE_SECONDS, _PAUSE_SECONDS = 3.0, 1.0
HEADS = (
    b"GET /health HTTP/1.1\r\nHost: 127.0.0.1\r\nX-Slow: ",
    b"POST /login HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Type: application/x-www-form-urlencoded\r\n"
    b"Content-Length: 500000\r\n\r\n",
)


def rows() -> list[Row]:
    with TemporaryDirectory() as folder, serving(Path(folder)) as (port, _):
        stop = threading.Event()
        threads = [threading.Thread(target=_drip, args=(port, HEADS[n % 2], stop), daemon=True) for n in range(SOCKETS)]
        for thread in threads:
            thread.start()
        time.sleep(3 * _PAUSE_SECONDS)
        answered = sum(is_well(port, _PATIENCE_SECONDS) for _ in range(CHECKS))
        stop.set()
        for thread in threads:
            thread.join(10)
    failures = [] if answered == CHECKS else [f"{CHECKS - answered} of {CHECKS} health checks were not answered"]
    return [row("slow sockets, unsigned", f"{SOCKETS} sockets, a byte a second", failures, f"{answered} of {CHECKS} answered")]


def _drip(port: int, head: bytes, stop: threading.Event) -> None:
    """Drips, and comes back when it is let go."""
    while not stop.is_set():
        try:
            with socket.create_connection((HOST, port), timeout=5) as client:
                client.sendall(head)
                while not stop.wait(_PAUSE_SECONDS):
                    client.sendall(b"a")
        except OSError:
            stop.wait(_PAUSE_SECONDS)

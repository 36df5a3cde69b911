"""Serves the dashboard: waitress in one process, one loop that reads and sends, and a few threads that answer.

One process, because every process would open the warehouse and remember answers for itself; threads, because the
work is done in DuckDB and numpy, which let others run meanwhile. Measured in docs/performance.md ("make drip-test").
"""

import errno
import logging
import os
import signal
import socket
import sys
from collections.abc import Callable
from contextlib import suppress
from logging.handlers import RotatingFileHandler
from pathlib import Path
from typing import Final

from dash import Dash

from dashboard.web.connections import Server
from dashboard.web.guard import HEALTH, LOOPBACK, NAMED, allow_hosts, largest_body_bytes
from shared.errors import UsageError
from shared.settings_running import Serving

THREADS: Final = 4
LOG: Final = Path("fitledger.log")
_LARGEST_LOG_BYTES: Final = 5_000_000
# A connection may have a file for what comes and one for what goes; beside them the warehouse, logs and uploads.
_FILES_EACH, _FILES_BESIDE = 3, 100
# Windows waits for 512 sockets at most.
_FEW_CONNECTIONS: Final = 400
log = logging.getLogger("fitledger.serving")


def listening(host: str, port: int) -> socket.socket:
    """A socket that listens at `port` of `host`, 0 for any. Raises UsageError where nothing can."""
    try:
        return socket.create_server((host, port), family=socket.AF_INET6 if ":" in host else socket.AF_INET, backlog=1024)
    except OSError as fault:
        why = "another program listens there" if fault.errno == errno.EADDRINUSE else str(fault.strerror or fault)
        raise UsageError(
            f"--port {port}: nothing can be served at {host}:{port}, since {why}. Name another port, or 0 for any."
        ) from fault


def server_of(app: Dash, listener: socket.socket, serving: Serving) -> Server:
    """The server of a dashboard; `run` serves until `stop` is called."""
    return Server(
        app.server,
        listener,
        serving.model_copy(update={"connections": min(serving.connections, _most_connections(serving.connections))}),
        threads=THREADS,
        health=app.config.requests_pathname_prefix + HEALTH,
        largest=lambda path: largest_body_bytes(app.server, path),
    )


def serve_forever(app: Dash, listener: socket.socket, serving: Serving, end_others: Callable[[], bool] = lambda: True) -> None:
    """Serves until told to stop (SIGTERM, Ctrl-C), then lets running requests end. Call from the main thread.

    `end_others` tells the process's other threads to end, and says whether they have.
    """
    host, port = listener.getsockname()[:2]
    allow_hosts(app.server, app.server.config[NAMED], is_loopback=host in LOOPBACK)
    _log_faults()
    server = server_of(app, listener, serving)
    for name in (signal.SIGTERM, signal.SIGINT):
        signal.signal(name, lambda *_: server.stop())
    log.info("Listening at http://%s:%d", f"[{host}]" if ":" in host else host, port)
    all_answered, all_ended = server.run(), end_others()
    if all_answered:
        log.info("Stopped")
        if all_ended:
            return
    else:
        log.warning("Stopped; what still ran after the time to end it was given up")
    # Threads in the midst of DuckDB or numpy cannot be ended, and a process that cleans up beneath them aborts.
    logging.shutdown()
    os._exit(0)


def _log_faults() -> None:
    """Tracebacks go to a file, not to the screen that shows how the server runs; there where the folder takes no file."""
    # How many requests wait is no warning.
    logging.getLogger("waitress").setLevel(logging.ERROR)
    if os.access(Path.cwd(), os.W_OK):
        faults = RotatingFileHandler(LOG, maxBytes=_LARGEST_LOG_BYTES, backupCount=1, encoding="utf-8", delay=True)
        faults.setFormatter(logging.Formatter("%(asctime)s %(levelname)s %(message)s"))
        for name in ("fitledger.dashboard", "waitress"):
            logging.getLogger(name).addHandler(faults)


def _most_connections(wanted: int) -> int:
    """How many connections the system lets this process hold; where it may ask for more open files, it does."""
    if sys.platform == "win32":
        return _FEW_CONNECTIONS
    import resource

    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    asked = wanted * _FILES_EACH + _FILES_BESIDE
    if soft != resource.RLIM_INFINITY and soft < asked:
        more = asked if hard == resource.RLIM_INFINITY else min(asked, hard)
        with suppress(ValueError, OSError):  # the system has a bound of its own
            resource.setrlimit(resource.RLIMIT_NOFILE, (more, hard))
            soft = more
        return max(10, (soft - _FILES_BESIDE) // _FILES_EACH)
    return wanted

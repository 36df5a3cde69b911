"""Serves the dashboard: gunicorn with one process and four threads, or waitress where gunicorn cannot run.

One process, because every process would open the warehouse and remember answers for itself; threads, because the
work is done in DuckDB and numpy, which let others run meanwhile.
"""

import errno
import logging
import os
import socket
import struct
import sys
from logging.handlers import RotatingFileHandler
from pathlib import Path
from typing import Any, Final

from dash import Dash

from dashboard.guard import LOOPBACK, NAMED, allow_hosts
from shared.errors import UsageError

THREADS: Final = 4
# A client that sends nothing more for so long is let go, so that a few slow ones do not hold every thread.
SILENCE_SECONDS: Final = 10
LOG: Final = Path("fitledger.log")
_LARGEST_LOG_BYTES: Final = 5_000_000
log = logging.getLogger("fitledger.serving")


def free_port(host: str) -> int:
    """A port of `host` that nothing listens on."""
    with socket.socket(socket.AF_INET6 if ":" in host else socket.AF_INET) as probe:
        probe.bind((host, 0))
        return int(probe.getsockname()[1])


def require_free(host: str, port: int) -> None:
    """Raises UsageError where nothing can listen at `port` of `host`."""
    with socket.socket(socket.AF_INET6 if ":" in host else socket.AF_INET) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)  # a port that was just let go is free
        try:
            probe.bind((host, port))
        except OSError as fault:
            why = "another program listens there" if fault.errno == errno.EADDRINUSE else str(fault.strerror or fault)
            raise UsageError(
                f"--port {port}: nothing can be served at {host}:{port}, since {why}. Name another port, or 0 for any."
            ) from fault


def serve_forever(app: Dash, host: str, port: int) -> None:
    """Serves until told to stop (SIGTERM, Ctrl-C), then lets running requests end. Call from the main thread."""
    allow_hosts(app.server, app.server.config[NAMED], is_loopback=host in LOOPBACK)
    _log_faults()
    if sys.platform == "win32":
        _serve_waitress(app, host, port)
    else:
        _serve_gunicorn(app, host, port)


def _log_faults() -> None:
    """Tracebacks go to a file, not to the screen that shows how the server runs; there where the folder takes no file."""
    if os.access(Path.cwd(), os.W_OK):
        faults = RotatingFileHandler(LOG, maxBytes=_LARGEST_LOG_BYTES, backupCount=1, encoding="utf-8", delay=True)
        faults.setFormatter(logging.Formatter("%(asctime)s %(levelname)s %(message)s"))
        logging.getLogger("fitledger.dashboard").addHandler(faults)


def _serve_waitress(app: Dash, host: str, port: int) -> None:
    import waitress

    log.info("Listening at http://%s:%d", host, port)
    waitress.serve(app.server, host=host, port=port, threads=THREADS, ident=None, _quiet=True)


def _serve_gunicorn(app: Dash, host: str, port: int) -> None:
    from gunicorn.app.base import BaseApplication

    class Served(BaseApplication):  # type: ignore[misc]
        """Takes its settings from here, none from files, arguments or the environment."""

        def load_config(self) -> None:
            for name, value in gunicorn_settings(host, port).items():
                self.cfg.set(name, value)

        def load(self) -> Any:
            return app.server

    Served().run()


def gunicorn_settings(host: str, port: int) -> dict[str, Any]:
    """Settings of gunicorn, see its documentation."""
    return {
        "bind": f"[{host}]:{port}" if ":" in host else f"{host}:{port}",
        "workers": 1,
        "threads": THREADS,
        "worker_class": "gthread",
        "graceful_timeout": 10,
        "keepalive": 5,
        "timeout": 120,
        "control_socket_disable": True,
        "accesslog": None,
        "errorlog": "-",
        "loglevel": "info",
        "proc_name": "fitledger",
        # The longest address that the server takes: a selection may name many riders.
        "limit_request_line": 8190,
        "when_ready": _limit_silence,
        "worker_exit": _leave,
    }


def _limit_silence(arbiter: Any) -> None:
    """Bounds every wait for a client; accepted connections take the limits over from the listening socket."""
    limit = struct.pack("ll", SILENCE_SECONDS, 0)
    for listener in arbiter.LISTENERS:
        listener.sock.setsockopt(socket.SOL_SOCKET, socket.SO_RCVTIMEO, limit)
        listener.sock.setsockopt(socket.SOL_SOCKET, socket.SO_SNDTIMEO, limit)
    # A client that is let go is no fault of the program.
    logging.getLogger("gunicorn.error").addFilter(lambda record: not _is_silence(record))


def _is_silence(record: logging.LogRecord) -> bool:
    return record.exc_info is not None and isinstance(record.exc_info[1], BlockingIOError)


def _leave(_server: Any, _worker: Any) -> None:
    """Ends a worker once its last request is answered, without the clean-up of C++ objects: a process that was forked and
    has used DuckDB 1.5 aborts in it (its threads were never started here). Nothing is held open for writing."""
    logging.shutdown()
    os._exit(0)

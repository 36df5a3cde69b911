"""A dashboard on a free port of this machine, in a thread of the test's own process, and the browser that opens it."""

import shutil
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from werkzeug.serving import WSGIRequestHandler, make_server

from dashboard.accounts.store import Accounts
from dashboard.app import create_app
from dashboard.report.browser import ARGUMENTS

CHROMIUM = [*ARGUMENTS, "--no-sandbox"]


def chromium_path() -> str:
    """Where Chromium is. A missing browser is a failure, never a pass."""
    found = shutil.which("chromium")
    assert found, "The browser tests need Chromium: install Debian's package 'chromium'."
    return found


class _Quiet(WSGIRequestHandler):
    """Logs no request: a failing test shows what failed."""

    def log_request(self, code: int | str = "-", size: int | str = "-") -> None:
        """Says nothing."""


@contextmanager
def serving(asker: Any, prefix: str = "/", accounts: Accounts | None = None) -> Iterator[str]:
    """Serves the dashboard of an asker, with accounts where readers are to sign in; gives its address, with the prefix."""
    app = create_app(asker, prefix=prefix, accounts=accounts)
    server = make_server("127.0.0.1", 0, app.server, threaded=True, request_handler=_Quiet)
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    try:
        yield f"http://127.0.0.1:{server.server_port}{prefix}"
    finally:
        server.shutdown()
        thread.join()
        server.server_close()

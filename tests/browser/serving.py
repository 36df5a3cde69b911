"""A dashboard on a free port of this machine, in a thread of the test's own process, and the browser that opens it."""

import shutil
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from dashboard.accounts.store import Accounts
from dashboard.app import create_app
from dashboard.report.browser import ARGUMENTS
from dashboard.web.serving import listening, server_of
from shared.settings_running import Serving

CHROMIUM = [*ARGUMENTS, "--no-sandbox"]


def chromium_path() -> str:
    """Where Chromium is. A missing browser is a failure, never a pass."""
    found = shutil.which("chromium")
    assert found, "The browser tests need Chromium: install Debian's package 'chromium'."
    return found


@contextmanager
def serving(asker: Any, prefix: str = "/", accounts: Accounts | None = None) -> Iterator[str]:
    """Serves the dashboard of an asker, with accounts where readers are to sign in; gives its address, with the prefix."""
    listener = listening("127.0.0.1", 0)
    server = server_of(create_app(asker, prefix=prefix, accounts=accounts), listener, Serving())
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    try:
        yield f"http://127.0.0.1:{server.effective_port}{prefix}"
    finally:
        server.stop()
        thread.join()

"""A dashboard on a free port of this machine, in a thread of the test's own process, and the browser that opens it."""

import os
import random
import shutil
import threading
import time
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from typing import Any

from dashboard.accounts.store import Accounts
from dashboard.app import create_app
from dashboard.report.browser import ARGUMENTS
from dashboard.web.serving import listening, server_of
from shared.settings_running import Serving

CHROMIUM = [*ARGUMENTS, "--no-sandbox"]
# Answers come up to this much later, each by an amount of its own (`make late`): a test that reads too early fails.
LATE_MS = int(os.environ.get("LATE_MS", "0"))


class Late:
    """A WSGI application whose answers to the page's questions come late and out of order, as they may on a busy machine."""

    def __init__(self, application: Any) -> None:
        self.application = application
        self.delays = random.Random(0)

    def __call__(self, environ: dict[str, Any], start_response: Any) -> Iterable[bytes]:
        if "_dash-update-component" in environ["PATH_INFO"]:
            time.sleep(self.delays.uniform(0, LATE_MS / 1000))
        answer: Iterable[bytes] = self.application(environ, start_response)
        return answer


def chromium_path() -> str:
    """Where Chromium is. A missing browser is a failure, never a pass."""
    found = shutil.which("chromium")
    assert found, "The browser tests need Chromium: install Debian's package 'chromium'."
    return found


@contextmanager
def serving(asker: Any, prefix: str = "/", accounts: Accounts | None = None) -> Iterator[str]:
    """Serves the dashboard of an asker, with accounts where readers are to sign in; gives its address, with the prefix."""
    listener = listening("127.0.0.1", 0)
    app = create_app(asker, prefix=prefix, accounts=accounts)
    if LATE_MS:
        app.server.wsgi_app = Late(app.server.wsgi_app)  # type: ignore[method-assign]
    server = server_of(app, listener, Serving())
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    try:
        yield f"http://127.0.0.1:{server.effective_port}{prefix}"
    finally:
        server.stop()
        thread.join()

"""Each request as a line of the log, under an id that its answer carries too.

A line holds no rider's data: the path without what is asked for, no address of the reader, and of a fault its kind and
reference only.
"""

import logging
import re
import secrets
import time
from typing import Final

from flask import Flask, Response, g, has_request_context, request

from shared.log_lines import share, share_nothing, shared_field

REQUEST_ID: Final = "X-Request-ID"
_GIVEN: Final = re.compile(r"[A-Za-z0-9._-]{1,64}")
_QUIET: Final = ("/health", "/ready", "/metrics")
log = logging.getLogger("fitledger.requests")


def note_question(question: str) -> None:
    """Notes what the present request asks, for its line."""
    if has_request_context() and "questions" in g:
        g.questions[question] = None


def add_request_log(server: Flask) -> None:
    """Logs each request once it is answered, under an id that the answer carries too: a proxy's, or a new one.

    What machines ask again and again is left out while it is answered well.
    """

    def begin() -> None:
        given = request.headers.get(REQUEST_ID, "")
        g.request_began = time.perf_counter()
        share_nothing()
        g.questions = dict[str, None]()
        share(request_id=given if _GIVEN.fullmatch(given) else secrets.token_hex(8))

    def end(response: Response) -> Response:
        if request_id := shared_field("request_id"):
            response.headers[REQUEST_ID] = request_id
        if not (request.path.endswith(_QUIET) and response.status_code == 200):
            fields = {
                "method": request.method,
                "path": request.path,
                "status": response.status_code,
                "ms": round(1000 * (time.perf_counter() - g.request_began), 1),
                "bytes": response.calculate_content_length(),
                "questions": list(g.questions),
            }
            log.info("request", extra={"fields": fields})
        return response

    # First in, last out: what the guard refuses is logged as well.
    server.before_request_funcs.setdefault(None, []).insert(0, begin)
    server.after_request_funcs.setdefault(None, []).insert(0, end)

    @server.teardown_request
    def forget(_: BaseException | None) -> None:
        share_nothing()

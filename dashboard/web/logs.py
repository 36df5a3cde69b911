"""Logs for programs that read them: one JSON object a line on standard output, each request with an id.

A line holds no rider's data: the path without what is asked for, no address of the reader, and of a fault its kind and
reference only (its traceback is in fitledger.log).
"""

import json
import logging
import re
import secrets
import sys
import time
from contextvars import ContextVar
from datetime import UTC, datetime
from typing import Any, Final

from flask import Flask, Response, g, request

REQUEST_ID: Final = "X-Request-ID"
_GIVEN: Final = re.compile(r"[A-Za-z0-9._-]{1,64}")
_request_id: ContextVar[str | None] = ContextVar("request_id", default=None)
log = logging.getLogger("fitledger.requests")


class JsonLines(logging.Formatter):
    """time (UTC), level, logger, message, request_id, and the fields that `extra={"fields": …}` gives."""

    def format(self, record: logging.LogRecord) -> str:
        moment = datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
        line: dict[str, Any] = {
            "time": moment,
            "level": record.levelname.lower(),
            "logger": record.name,
            "message": record.getMessage(),
        }
        if request_id := _request_id.get():
            line["request_id"] = request_id
        if record.exc_info and record.exc_info[0]:
            line["fault"] = record.exc_info[0].__name__
        line |= getattr(record, "fields", {})
        return json.dumps(line, ensure_ascii=False)


def use_json_lines() -> None:
    """Sends what fitledger logs to standard output, a JSON object a line."""
    lines = logging.StreamHandler(sys.stdout)
    lines.setFormatter(JsonLines())
    ours = logging.getLogger("fitledger")
    ours.addHandler(lines)
    ours.setLevel(logging.INFO)


def add_request_log(server: Flask) -> None:
    """Logs each request once it is answered, under an id that the answer carries too: a proxy's, or a new one.

    Answers of the health check are left out while they are good.
    """

    def begin() -> None:
        given = request.headers.get(REQUEST_ID, "")
        g.request_began = time.perf_counter()
        _request_id.set(given if _GIVEN.fullmatch(given) else secrets.token_hex(8))

    def end(response: Response) -> Response:
        request_id = _request_id.get()
        if request_id:
            response.headers[REQUEST_ID] = request_id
        if not (request.path.endswith("/health") and response.status_code == 200):
            fields = {
                "method": request.method,
                "path": request.path,
                "status": response.status_code,
                "ms": round(1000 * (time.perf_counter() - g.request_began), 1),
                "bytes": response.calculate_content_length(),
            }
            log.info("request", extra={"fields": fields})
        return response

    # First in, last out: what the guard refuses is logged as well.
    server.before_request_funcs.setdefault(None, []).insert(0, begin)
    server.after_request_funcs.setdefault(None, []).insert(0, end)

    @server.teardown_request
    def forget(_: BaseException | None) -> None:
        _request_id.set(None)

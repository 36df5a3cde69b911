"""Logs for programs that read them: one JSON object a line, with what all lines of one request or one load share.

A line holds no rider's data: of a fault its kind alone, whose traceback is in fitledger.log.
"""

import json
import logging
import secrets
import sys
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import UTC, datetime
from types import MappingProxyType
from typing import Any, Final, TextIO

_SHARED: Final[ContextVar[Mapping[str, Any]]] = ContextVar("shared", default=MappingProxyType({}))


class JsonLines(logging.Formatter):
    """time (UTC), level, logger, message, what the lines share, and the fields that `extra={"fields": …}` gives."""

    def format(self, record: logging.LogRecord) -> str:
        moment = datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
        line: dict[str, Any] = {
            "time": moment,
            "level": record.levelname.lower(),
            "logger": record.name,
            "message": record.getMessage(),
        }
        line |= _SHARED.get()
        if record.exc_info and record.exc_info[0]:
            line["fault"] = record.exc_info[0].__name__
        line |= getattr(record, "fields", {})
        return json.dumps(line, ensure_ascii=False)


def use_json_lines(to: TextIO | None = None) -> None:
    """Sends what fitledger logs to standard output, or to `to`, a JSON object a line."""
    lines = logging.StreamHandler(to or sys.stdout)
    lines.setFormatter(JsonLines())
    ours = logging.getLogger("fitledger")
    ours.addHandler(lines)
    ours.setLevel(logging.INFO)


def share(**fields: Any) -> None:
    """From now on every line of this thread, and of what it begins, holds these fields too."""
    _SHARED.set({**_SHARED.get(), **fields})


def share_nothing() -> None:
    """Takes back all that lines share."""
    _SHARED.set({})


def shared_field(name: str) -> Any:
    """A field that lines share now; None where they do not."""
    return _SHARED.get().get(name)


@contextmanager
def lines_of_a_load() -> Iterator[None]:
    """Inside, every line holds the id of one load (`load`), that of the outermost; what is shared inside ends with it."""
    if "load" in _SHARED.get():
        yield
        return
    before = _SHARED.set({**_SHARED.get(), "load": secrets.token_hex(8)})
    try:
        yield
    finally:
        _SHARED.reset(before)

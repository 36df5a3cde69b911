"""JSON lines: one object a line, an id a request, and nothing of what was asked for."""

import json
import logging
from collections.abc import Iterator

import pytest
from flask import Flask, Response, abort

from dashboard.web.logs import REQUEST_ID, JsonLines, add_request_log


class Kept(logging.Handler):
    def __init__(self) -> None:
        super().__init__()
        self.lines: list[dict[str, object]] = []
        self.setFormatter(JsonLines())

    def emit(self, record: logging.LogRecord) -> None:
        self.lines.append(json.loads(self.format(record)))


@pytest.fixture
def kept() -> Iterator[Kept]:
    handler, logger = Kept(), logging.getLogger("fitledger")
    level = logger.level
    logger.addHandler(handler)
    logger.setLevel(logging.INFO)
    yield handler
    logger.removeHandler(handler)
    logger.setLevel(level)


def served() -> Flask:
    server = Flask("test")

    @server.before_request
    def guard() -> None:
        from flask import request

        if request.path == "/refused":
            abort(403)

    @server.get("/health")
    def health() -> str:
        return "OK"

    @server.get("/supports")
    def supports() -> Response:
        try:
            raise ValueError("R0001")
        except ValueError:
            logging.getLogger("fitledger.dashboard").exception("Fault %s", "ab12")
        return Response("five!")

    add_request_log(server)
    return server


def test_a_request_is_logged_under_the_id_that_its_answer_carries(kept: Kept) -> None:
    answer = served().test_client().get("/supports?rider=R0001")
    fault, line = kept.lines
    assert answer.headers[REQUEST_ID] == line["request_id"] == fault["request_id"]
    assert {name: line[name] for name in ("level", "logger", "method", "path", "status", "bytes")} == {
        "level": "info", "logger": "fitledger.requests", "method": "GET", "path": "/supports", "status": 200, "bytes": 5,
    }  # fmt: skip
    assert (fault["message"], fault["fault"], fault["level"]) == ("Fault ab12", "ValueError", "error")
    assert "R0001" not in json.dumps(kept.lines)


def test_a_proxy_may_give_the_id_and_no_other_text(kept: Kept) -> None:
    client = served().test_client()
    assert client.get("/supports", headers={REQUEST_ID: "edge-7"}).headers[REQUEST_ID] == "edge-7"
    assert client.get("/supports", headers={REQUEST_ID: 'a" b' * 40}).headers[REQUEST_ID] not in {"edge-7", 'a" b' * 40}


def test_what_is_refused_is_logged_and_a_good_health_check_is_not(kept: Kept) -> None:
    client = served().test_client()
    client.get("/health")
    client.get("/refused")
    client.get("/nowhere")
    assert [(line["path"], line["status"]) for line in kept.lines] == [("/refused", 403), ("/nowhere", 404)]

"""JSON lines: one object a line, an id a request and a load, and nothing of what was asked for or loaded."""

import json
import logging
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from flask import Flask, Response, abort

from dashboard.web.logs import REQUEST_ID, add_request_log, note_question
from etl.load import load
from shared.errors import UsageError, WarehouseBusyError
from shared.files import held
from shared.log_lines import JsonLines
from tests.spec.tables import write_csv


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
            note_question("effects")
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
    assert line["questions"] == ["effects"] and "questions" not in fault
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


def test_every_line_of_a_load_holds_its_id_and_none_names_a_file_or_a_row(kept: Kept, tmp_path: Path) -> None:
    folder = write_csv(tmp_path / "x", riders="rider_id | birth_year\nR0001 | 1980\nR0002 | 1850")
    load([folder], tmp_path / "w.duckdb")
    load([folder], tmp_path / "w.duckdb")
    with pytest.raises(UsageError):
        load([tmp_path / "nowhere"], tmp_path / "w.duckdb")
    assert [line["message"] for line in kept.lines] == [
        "load begins", "load ended", "load begins", "nothing new", "load begins", "load refused",
    ]  # fmt: skip
    ids = [line["load"] for line in kept.lines]
    assert ids[0] == ids[1] != ids[2] == ids[3] != ids[4] == ids[5]
    ended, unchanged, refused = kept.lines[1], kept.lines[3], kept.lines[5]
    assert {name: ended[name] for name in ("load_id", "files", "read", "stored", "rejected")} == {
        "load_id": 1, "files": 1, "read": 2, "stored": 2, "rejected": 0,
    }  # fmt: skip
    assert (unchanged["load_id"], refused["fault"], refused["level"]) == (None, "UsageError", "warning")
    assert not re.search("R000|riders|nowhere", json.dumps(kept.lines))


def test_who_waits_in_line_says_so_under_the_same_id(kept: Kept, tmp_path: Path) -> None:
    path = tmp_path / "w.duckdb"
    folder = write_csv(tmp_path / "x", riders="rider_id\nR0001")
    load([write_csv(tmp_path / "y", riders="rider_id\nR0002")], path)
    kept.lines.clear()
    with held(path), pytest.raises(WarehouseBusyError):
        load([folder], path, wait_seconds=0.01)
    assert [(line["message"], line.get("before")) for line in kept.lines] == [
        ("load begins", None), ("load waits", 1), ("load refused", None),
    ]  # fmt: skip
    assert len({line["load"] for line in kept.lines}) == 1


def test_the_settings_say_the_form_and_the_report_stays_apart(tmp_path: Path) -> None:
    write_csv(tmp_path / "x", riders="rider_id\nR0001")
    (tmp_path / "fitledger.toml").write_text('[logs]\nform = "json"\n', encoding="utf-8")
    command = [str(Path(sys.executable).with_name("fitledger")), "load", "x", "--json"]
    done = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, check=True)
    assert json.loads(done.stdout)["load_id"] == 1
    assert [json.loads(line)["message"] for line in done.stderr.splitlines()] == ["load begins", "load ended"]

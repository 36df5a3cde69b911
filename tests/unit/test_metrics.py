"""/metrics: what is counted, who may read it, what it names, and that the rules for alerts ask for what is there."""

import re
from collections.abc import Iterator
from datetime import date
from pathlib import Path

import pytest
import yaml
from flask.testing import FlaskClient
from prometheus_client.openmetrics.parser import text_string_to_metric_families

from dashboard.app import create_app
from dashboard.questions.door.asking import Asker
from dashboard.questions.selection.selection import Selection
from dashboard.web.metrics import TOKEN_VARIABLE
from dashboard.web.warming import STATE
from etl.load import load
from shared import settings as settings_module
from shared.errors import NoMemoryError, TooFewError
from shared.settings import Settings
from shared.settings_running import Metrics, Serving
from shared.warehouse import open_loading
from tests.spec.tables import write_csv

RULES = Path(__file__).parents[2] / "docs/fitledger_alerts.yml"
ELSEWHERE = {"REMOTE_ADDR": "192.0.2.7"}
Samples = dict[tuple[str, ...], float]


@pytest.fixture
def path(tmp_path: Path) -> Path:
    folder = write_csv(
        tmp_path / "x",
        riders="rider_id | birth_year\nR0001 | 1980\nR0002 | 1990\nR0003 | 1850",
        fitters="fitter_id | fitter_name\nF1 | Alder",
        fit_sessions="session_id | rider_id | fitter_id | studio_id | session_date | visit_kind\n"
        "S0001 | R0001 | F1 | quay | 2026-08-28 | first\nS0002 | R0002 | F1 | hill | 2026-08-20 | first\n"
        "S0003 | R0009 | F1 | hill | 2026-08-27 | first",
    )
    load([folder], tmp_path / "w.duckdb")
    return tmp_path / "w.duckdb"


def served(path: Path, settings: Settings | None = None) -> tuple[Asker, FlaskClient]:
    asker = Asker(path, settings or Settings(), today=lambda: date(2026, 8, 30))
    return asker, create_app(asker).server.test_client()


def told(client: FlaskClient) -> Samples:
    """Each sample's value by its name and its labels' values, in the order of the labels' names."""
    text = client.get("/metrics").get_data(as_text=True)
    return {
        (sample.name, *(sample.labels[name] for name in sorted(sample.labels))): sample.value
        for family in text_string_to_metric_families(text)
        for sample in family.samples
    }


def test_it_counts_what_the_warehouse_holds(path: Path) -> None:
    _, client = served(path)
    found = told(client)
    assert found["fitledger_loads", "standing"] == 1 and found["fitledger_loads", "taken_back"] == 0
    # By outcome, table: R0003's year is left out of a row that is stored, and S0003 names a rider that nobody knows.
    assert found["fitledger_rows", "stored", "riders"] == 3 and found["fitledger_rows", "cells", "riders"] == 1
    assert found["fitledger_rows", "stored", "fit_sessions"] == 2 and found["fitledger_rows", "rejected", "fit_sessions"] == 1
    assert found["fitledger_newest_row_age_days", "quay"] == 2 and found["fitledger_newest_row_age_days", "hill"] == 10
    assert (found["fitledger_warehouse_readable",], found["fitledger_loads_in_line",]) == (1, 0)
    with open_loading(path) as _warehouse:
        assert told(client)["fitledger_loads_in_line",] == 1
    path.unlink()
    found = told(client)
    assert found["fitledger_warehouse_readable",] == 0 and ("fitledger_loads", "standing") not in found


def test_it_counts_what_is_asked_and_what_fails(path: Path, caplog: pytest.LogCaptureFixture) -> None:
    asker, client = served(path)
    asker.ask("data", Selection())
    first, again = NoMemoryError("no memory"), NoMemoryError("no memory")
    first.__cause__ = MemoryError()
    for fault in (first, again, TooFewError("Too few."), ZeroDivisionError("R0001")):
        with pytest.raises(type(fault)), asker.watch("effects"):
            raise fault
    client.get("/assets/nothing.css")
    client.application.config[STATE] = lambda: {"ready": False, "made": 3, "of": 5, "failed": ["effects"]}
    found = told(client)
    assert found["fitledger_answer_seconds_count", "data"] == 1 and found["fitledger_answer_seconds_count", "effects"] == 4
    # A refusal is an answer.
    faults = {(*labels,): n for (name, *labels), n in found.items() if name == "fitledger_faults_total"}
    assert faults == {("NoMemoryError", "effects"): 2, ("ZeroDivisionError", "effects"): 1}
    assert found["fitledger_requests_total", "404"] == 1
    assert (found["fitledger_ready",], found["fitledger_answers_made",], found["fitledger_answers_to_make",]) == (0, 3, 5)
    assert found["fitledger_question_failing", "effects"] == 1
    assert found["fitledger_remembered_bytes", "answers"] > 0 and found["process_resident_memory_bytes",] > 1e6
    assert [record.getMessage() for record in caplog.records if record.exc_info] == ["Fault in effects: no memory"]


def test_what_the_warehouse_tells_is_read_once_a_state_of_it(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from dashboard.web import metrics

    read: list[int] = []
    real = metrics._found
    monkeypatch.setattr(metrics, "_found", lambda *given: (read.append(1), real(*given))[1])
    _, client = served(path)
    for _ in range(3):
        told(client)
    assert len(read) == 1
    load([write_csv(path.with_name("y"), riders="rider_id\nR0005")], path)
    assert told(client)["fitledger_rows", "stored", "riders"] == 4 and len(read) == 2


@pytest.fixture
def token(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[str]:
    (tmp_path / "token").write_text("four small words\nanother line\n", encoding="utf-8")
    monkeypatch.setattr(settings_module._Named, "path", tmp_path / "fitledger.toml")
    monkeypatch.delenv(TOKEN_VARIABLE, raising=False)
    yield "four small words"


def test_who_may_read_it(path: Path, token: str, monkeypatch: pytest.MonkeyPatch) -> None:
    shown = {"Authorization": f"Bearer {token}"}
    wrong: tuple[dict[str, str], ...] = (
        {},
        *({"Authorization": words} for words in ("Bearer four", f"Basic {token}", "Bearer ", token)),
        {"X-Forwarded-For": "127.0.0.1"},
    )
    _, client = served(path)
    for headers in (*wrong, shown):  # without a token in force, nobody but this machine
        assert client.get("/metrics", headers=headers, environ_base=ELSEWHERE).status_code == 401
    assert client.get("/metrics", environ_base={"REMOTE_ADDR": "::1"}).status_code == 200
    known = Settings(metrics=Metrics(token_file="token"))
    _, client = served(path, known)
    for headers in wrong:
        refused = client.get("/metrics", headers=headers, environ_base=ELSEWHERE)
        assert refused.status_code == 401 and refused.headers["WWW-Authenticate"] == "Bearer"
        assert "fitledger_" not in refused.get_data(as_text=True)
    assert client.get("/metrics", headers=shown, environ_base=ELSEWHERE).status_code == 200
    assert client.get("/metrics?token=four+small+words", environ_base=ELSEWHERE).status_code == 401
    assert client.post("/metrics").status_code == 405
    assert client.get("/metrics", headers={"Host": "elsewhere.example"}).status_code == 400
    assert client.get("/metrics", headers={"Sec-Fetch-Site": "cross-site"}).status_code == 403
    monkeypatch.setenv(TOKEN_VARIABLE, "of the environment")
    assert client.get("/metrics", headers=shown, environ_base=ELSEWHERE).status_code == 401


def test_behind_a_proxy_nobody_reads_it_without_the_token(path: Path, token: str) -> None:
    _, client = served(path, Settings(serving=Serving(behind_proxy=True), metrics=Metrics(token_file="token")))
    for headers in ({}, {"X-Forwarded-For": "127.0.0.1"}):
        assert client.get("/metrics", headers=headers).status_code == 401
    assert client.get("/metrics", headers={"Authorization": f"bearer {token}"}).status_code == 200


def test_it_names_nobody(path: Path) -> None:
    asker, client = served(path)
    asker.ask("data", Selection(rider=("R0001",)))
    text = client.get("/metrics").get_data(as_text=True)
    assert not re.search(r"R000|S000|F1|Alder", text)
    assert set(re.findall(r"(\w+)=\"", text)) <= {"studio", "table", "outcome", "question", "kind", "status", "part", "le"}


def test_each_rule_for_alerts_asks_for_what_is_exposed(path: Path) -> None:
    asker, client = served(path)
    asker.ask("data", Selection())
    with pytest.raises(NoMemoryError), asker.watch("effects"):
        raise NoMemoryError("no memory")
    client.application.config[STATE] = lambda: {"failed": ["effects"]}
    text = client.get("/metrics").get_data(as_text=True)
    exposed = {sample.name: {*sample.labels} for family in text_string_to_metric_families(text) for sample in family.samples}
    rules = [rule for group in yaml.safe_load(RULES.read_text("utf-8"))["groups"] for rule in group["rules"]]
    assert len({rule["alert"] for rule in rules}) == len(rules) >= 8
    for rule in rules:
        asked = re.findall(r"\b((?:fitledger|process)_\w+)(?:\{([^}]*)\})?", rule["expr"])
        assert asked or rule["expr"].startswith("up{")
        for name, labels in asked:
            assert name in exposed, f"{rule['alert']}: {name} is not exposed"
            assert set(re.findall(r"(\w+)\s*=", labels)) <= exposed[name]
        assert set(rule["annotations"]) == {"summary"} and rule["labels"]["severity"] in ("page", "ticket")
        # What the sentence names is a label that the rule's metric has.
        named = set(re.findall(r"\$labels\.(\w+)", rule["annotations"]["summary"])) - {"instance", "job"}
        assert all(named <= exposed[name] for name, _ in asked[:1])

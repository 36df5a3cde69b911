"""Answers are made ready in the background: each in its turn, whatever fails, and again when the warehouse is another one."""

import threading
import time
from collections.abc import Callable

import pytest
from flask.testing import FlaskClient

from dashboard.app import create_app
from dashboard.web.warming import STATE, Warming
from shared.errors import TooFewError, WarehouseError
from tests.unit.made_answers import MadeAsker


class Asking:
    """Asks in the order given; `snapshot` is the state of its warehouse."""

    def __init__(self, **asks: Callable[[], object]) -> None:
        self._asks = asks
        self.now: tuple[int, int, int] | None = (1, 1, 1)
        self.n_looks = 0

    def ahead(self) -> tuple[tuple[str, Callable[[], object]], ...]:
        return tuple(self._asks.items())

    def snapshot(self) -> tuple[int, int, int] | None:
        self.n_looks += 1
        return self.now


def raising(fault: Exception) -> Callable[[], object]:
    def ask() -> object:
        raise fault

    return ask


def test_what_fails_is_named_and_keeps_nothing_else_back(caplog: pytest.LogCaptureFixture) -> None:
    made: list[str] = []
    warming = Warming(
        Asking(
            periods=lambda: made.append("periods"),
            returns=raising(TooFewError("Too few fits.")),
            effects=raising(WarehouseError("No memory is left for this step.")),
            coaching=raising(ZeroDivisionError("R0001")),
            riders=lambda: made.append("riders"),
        )  # type: ignore[arg-type]
    )
    assert warming.state() == {"ready": False, "made": 0, "of": 0, "making": None, "failed": []}
    with caplog.at_level("INFO", "fitledger.serving"):
        warming.make()
    assert made == ["periods", "riders"]
    assert warming.state() == {"ready": True, "made": 5, "of": 5, "making": None, "failed": ["effects", "coaching"]}
    of_serving = [record.getMessage() for record in caplog.records if record.name == "fitledger.serving"]
    assert of_serving[0] == "effects cannot be answered: No memory is left for this step."
    assert of_serving[1].startswith("coaching cannot be answered: This could not be shown: something in the program failed.")
    assert "R0001" not in "".join(of_serving)
    assert of_serving[2].startswith("3 answers are ready after ")


def test_it_tells_what_it_makes_and_stops_before_the_next() -> None:
    begun, go_on = threading.Event(), threading.Event()
    made: list[str] = []

    def slow() -> None:
        begun.set()
        go_on.wait(60)
        made.append("periods")

    warming = Warming(Asking(periods=slow, riders=lambda: made.append("riders")), 0.01)  # type: ignore[arg-type]
    warming.start()
    begun.wait(60)
    assert warming.state() == {"ready": False, "made": 0, "of": 2, "making": "periods", "failed": []}
    assert not warming.stop()
    go_on.set()
    while not warming.stop():
        pass
    assert made == ["periods"]


def test_another_state_of_the_warehouse_is_made_ready_once_and_none_waits_for_its_file() -> None:
    rounds: list[tuple[int, int, int] | None] = []
    asking = Asking(periods=lambda: rounds.append(asking.now))
    asking.now = None
    warming = Warming(asking, 0.001)  # type: ignore[arg-type]
    warming.start()
    _look_again(asking)
    assert rounds == []
    for state in ((1, 1, 1), (2, 2, 2)):
        asking.now = state
        _look_again(asking)
    while not warming.stop():
        pass
    assert rounds == [(1, 1, 1), (2, 2, 2)]


def _look_again(asking: Asking) -> None:
    """Waits for three whole looks at the file."""
    n_looks = asking.n_looks + 4
    while asking.n_looks < n_looks:
        time.sleep(0.001)


@pytest.fixture
def client() -> FlaskClient:
    return create_app(MadeAsker()).server.test_client()  # type: ignore[arg-type]


def test_ready_is_told_to_whoever_runs_the_server(client: FlaskClient) -> None:
    state = {"ready": False, "made": 3, "of": 12, "making": "effects", "failed": []}
    client.application.config[STATE] = lambda: state
    answer = client.get("/ready")
    assert (answer.status_code, answer.get_json()) == (503, state)
    state["ready"] = True
    assert client.get("/ready").status_code == 200
    assert client.get("/ready", headers={"Host": "elsewhere.example"}).status_code == 400
    assert client.post("/ready").status_code == 405

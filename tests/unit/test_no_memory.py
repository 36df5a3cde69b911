"""A question that there is no memory for is a sentence in each place that asks it; every other place answers as before."""

import json
import re
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient

from dashboard.app import create_app
from dashboard.questions.door.asking import Asker
from dashboard.questions.door.registry import QUESTIONS
from dashboard.questions.memory.remembering import at_once
from dashboard.questions.selection.selection import Selection
from etl.load import load
from shared.errors import NoMemoryError
from shared.settings import Settings
from tests.every_view import EVERY_VIEW
from tests.spec.tables import write_csv
from tests.unit.page_places import places

SENTENCE = "no memory is left to answer this. Other questions, and this one over fewer fits, may still be answered."


class Short(Asker):
    """An asker that has no memory for one question, and knows which were asked."""

    def __init__(self, path: Path) -> None:
        super().__init__(path, Settings())
        self.short_of: str | None = None
        self.asked: set[str] = set()

    def ask_within(self, whole: Selection, question: str, selection: Selection, **only: tuple[str, ...]) -> Any:
        self.asked.add(question)
        return super().ask_within(whole, question, selection, **only)

    def ran(self) -> Any:
        """Asks every question for what runs, and tells no answer."""
        asked, found = set(self.asked), super().ran()
        self.asked = asked
        return found

    def _remembered(self, key: tuple[Any, ...], answer: Any) -> Any:
        if key[0] == self.short_of:
            raise MemoryError("Unable to allocate 14 GiB of R0001")
        return super()._remembered(key, answer)


@pytest.fixture(scope="module")
def short(hand_studio: Path) -> tuple[Short, FlaskClient]:
    asker = Short(hand_studio)
    return asker, create_app(asker).server.test_client()


def shown(short: tuple[Short, FlaskClient], path: str, short_of: str | None) -> list[tuple[set[str], str]]:
    """What each place of a view asks, and what it tells."""
    asker, client = short
    asker.short_of = short_of
    asker._too_large.clear()
    told = []
    given = places(client, path, "")
    while True:
        asker.asked = set()
        try:
            place = next(given)
        except StopIteration:
            return told
        told.append((asker.asked, json.dumps(place, ensure_ascii=False)))


@pytest.mark.parametrize("view", EVERY_VIEW, ids=lambda view: view.name)
def test_each_place_that_asks_it_says_so_and_all_others_answer(short: tuple[Short, FlaskClient], view: Any) -> None:
    whole = shown(short, view.path, None)
    for question in sorted(set().union(*(asked for asked, _ in whole))):
        for (asked, before), (_, now) in zip(whole, shown(short, view.path, question), strict=True):
            assert "R0001" not in now and "Traceback" not in now and "MemoryError" not in now
            if question in asked:
                assert SENTENCE in now, f"{question}: {now[:300]}"
            elif "exported tables" in before:
                assert "exported tables" in now  # of what failed, as far as it came
            else:
                assert re.sub(r"log under \w+", "", now) == re.sub(r"log under \w+", "", before)


@pytest.fixture
def warehouse(tmp_path: Path) -> Path:
    fits = "session_id | rider_id | fitter_id | studio_id | session_date | visit_kind\nS1 | R1 | F1 | q | 2026-03-02 | first"
    folder = write_csv(tmp_path / "x", riders="rider_id\nR1", fitters="fitter_id | fitter_name\nF1 | Alder", fit_sessions=fits)
    load([folder], tmp_path / "w.duckdb")
    return tmp_path / "w.duckdb"


def test_it_is_not_tried_again_at_once_but_after_a_while_and_after_a_load(
    warehouse: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    tried, now = [], [1000.0]

    def hungry(*_: Any, **__: Any) -> None:
        tried.append(1)
        raise MemoryError

    monkeypatch.setattr("dashboard.questions.data.data.ask", hungry)
    monkeypatch.setattr("dashboard.questions.door.asking.time.monotonic", lambda: now[0])
    asker = Asker(warehouse, Settings())
    for _ in range(3):
        with pytest.raises(NoMemoryError, match=f"^data: {SENTENCE}"):
            asker.ask("data", Selection())
    assert len(tried) == 1
    assert asker.ask("studio", Selection())
    now[0] += 61
    with pytest.raises(NoMemoryError):
        asker.ask("data", Selection())
    assert len(tried) == 2
    load([write_csv(warehouse.with_name("y"), riders="rider_id\nR2")], warehouse)
    with pytest.raises(NoMemoryError):
        asker.ask("data", Selection())
    assert len(tried) == 3


def test_duckdb_without_memory_is_told_alike_and_the_dashboard_goes_on(warehouse: Path) -> None:
    asker = Asker(warehouse, Settings())
    client = create_app(asker).server.test_client()
    asker.look_up(lambda cursor: cursor.run("SET memory_limit = '1MB'"))
    with pytest.raises(NoMemoryError, match="no memory is left for this step"):
        asker.once(
            ("wide",), lambda cursor, _: cursor.arrays("SELECT range AS n, hash(range) AS h FROM range(9000000) ORDER BY h")
        )
    asker.look_up(lambda cursor: cursor.run("SET memory_limit = '1GB'"))
    assert client.get("/health").status_code == client.get("/metrics").status_code == 200
    assert QUESTIONS["data"].ask(asker._warehouse.cursor(), Selection(), Settings(), remember=at_once)  # type: ignore[union-attr]

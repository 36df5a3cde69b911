"""The one door to the answers: computed once, refused alike, and always from the present warehouse."""

import threading
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from datetime import date
from pathlib import Path

import pytest

import dashboard.questions.data.noise
from dashboard.questions.door.asking import Asker
from dashboard.questions.memory.turns import Turns
from dashboard.questions.selection.selection import Selection, parse_selection
from etl.load import load
from shared.errors import StatisticsError, SupersededError, TooFewError, UsageError, WarehouseError
from shared.settings import Settings
from shared.warehouse import Warehouse
from tests.spec.tables import write_csv

TODAY = date(2026, 11, 25)
FIRST = {
    "riders": "rider_id | riding\nR1 | road",
    "fitters": "fitter_id | fitter_name\nF1 | Alder",
    "fit_sessions": "session_id | rider_id | fitter_id | studio_id | session_date | visit_kind\n"
    "S1 | R1 | F1 | q | 2026-03-02 | first",
}


@pytest.fixture
def warehouse(tmp_path: Path) -> Iterator[Path]:
    path = tmp_path / "w.duckdb"
    load([write_csv(tmp_path / "x", **FIRST)], path, today=TODAY)
    yield path


def test_an_answer_is_computed_once_for_all_who_ask_at_once(warehouse: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    calls, both_here, plain = [], threading.Barrier(2, timeout=20), dashboard.questions.data.noise.ask

    def counted(*words: object, **given: object) -> object:
        calls.append(words)
        both_here.wait()  # the second reader has asked before the first is answered
        return plain(*words, **given)  # type: ignore[arg-type]

    monkeypatch.setattr("dashboard.questions.data.noise.ask", counted)
    asker = Asker(warehouse, Settings())
    with ThreadPoolExecutor(1) as pool:
        first = pool.submit(asker.ask, "noise", Selection())
        while not asker._memory._running:
            threading.Event().wait(0.001)
        running, _ = next(iter(asker._memory._running.values()))
        with ThreadPoolExecutor(1) as other:
            second = other.submit(asker.ask, "noise", Selection())
            both_here.wait()
            assert first.result() is second.result() is running.result()
    assert asker.ask("noise", Selection()) is first.result()
    assert len(calls) == 1


def test_a_long_statement_is_stopped_for_a_newer_view_of_the_same_tab(warehouse: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    under_way, turns, asker = threading.Event(), Turns(), Asker(warehouse, Settings())

    def endless(cursor: Warehouse, *_: object, **__: object) -> object:
        under_way.set()
        return cursor.value("SELECT sum(sin(a.range * b.range)) FROM range(1000000) AS a, range(1000000) AS b")

    def ask_left() -> object:
        with turns.taking("a", 1, ("/", "?side=left")):
            return asker.ask("noise", Selection(side=("left",)))

    monkeypatch.setattr("dashboard.questions.data.noise.ask", endless)
    with ThreadPoolExecutor(1) as pool:
        older = pool.submit(ask_left)
        under_way.wait(20)
        while not older.done():  # the turn may be lost a moment before the statement begins
            with turns.taking("a", 2, ("/", "?side=right")):
                threading.Event().wait(0.001)
        with pytest.raises(SupersededError):
            older.result()


def test_a_refusal_is_told_to_each_who_asks(warehouse: Path) -> None:
    asker = Asker(warehouse, Settings())
    elsewhere = parse_selection({"studio": "elsewhere"})
    for _ in range(2):
        with pytest.raises(TooFewError, match="No fit matches this selection"):
            asker.ask("noise", elsewhere)
    assert not asker._memory._running


def test_a_load_is_seen_without_a_new_start(warehouse: Path, tmp_path: Path) -> None:
    asker = Asker(warehouse, Settings())
    assert asker.choices().studio == ("q",)
    more = FIRST["fit_sessions"].replace("S1", "S2").replace("| q |", "| ropewalk |")
    load([write_csv(tmp_path / "y", fit_sessions=more)], warehouse, today=TODAY)
    assert asker.choices().studio == ("q", "ropewalk")


def test_unknown_questions_and_missing_warehouses_are_refused(warehouse: Path, tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="'weather' is no question"):
        Asker(warehouse, Settings()).ask("weather", Selection())
    with pytest.raises(WarehouseError, match="there is no warehouse here"):
        Asker(tmp_path / "none.duckdb", Settings()).choices()


def test_what_is_read_once_a_snapshot_is_there_before_the_first_reader_asks(warehouse: Path) -> None:
    asker = Asker(warehouse, Settings())
    for _, ask in asker.ahead():
        with suppress(StatisticsError):
            ask()
    known = {key for key in asker._memory._answers if key[1] == "rows"}
    assert known
    asker.ask("trends", parse_selection({"visit_kind": "first"}))
    asker.ask("studio", parse_selection({"from": "2026-01-01"}))
    assert {key for key in asker._memory._answers if key[1] == "rows"} == known


def test_a_fit_without_a_figure_has_no_period_to_compare(warehouse: Path) -> None:
    with pytest.raises(TooFewError, match="there is no period to compare"):
        Asker(warehouse, Settings()).ask("periods", Selection(date_to=TODAY))

"""Two loads at once, and a dashboard that goes on answering while a load runs."""

import signal
from pathlib import Path

import pytest

from dashboard.questions.door.asking import Asker
from dashboard.questions.selection.selection import Selection
from etl.load import load
from shared.errors import WarehouseBusyError
from shared.settings import Settings
from shared.warehouse import open_reading
from tests.robust.loads import SESSIONS, exports, first_step, start


def stored(asker: Asker, table: str) -> int:
    answer = asker.ask("data", Selection())
    return next(int(row["stored"]) for row in answer.rows() if row["table"] == table)


def test_the_second_load_says_so_or_waits(tmp_path: Path) -> None:
    path = tmp_path / "w.duckdb"
    first = start("load", exports(tmp_path / "x", seed=1), "--warehouse", path)
    first_step(first)
    first.send_signal(signal.SIGSTOP)  # it holds the warehouse and does not end
    second = exports(tmp_path / "y", seed=2, first=500)
    with pytest.raises(WarehouseBusyError, match=r"another load is writing this warehouse\. Nothing was changed"):
        load([second], path, wait_seconds=0)
    told: list[str] = []

    def told_to_wait(done: int, total: int, words: str) -> None:
        if "waiting" in words:
            first.send_signal(signal.SIGCONT)
        told.append(words)

    report = load([second], path, told_to_wait, wait_seconds=60)
    first.communicate()
    assert told[0] == "waiting for another load"
    assert report.load_id == 2
    warehouse = open_reading(path)
    assert warehouse.value("SELECT count(*) FROM core.fit_sessions") == 2 * SESSIONS
    warehouse.close()


def test_the_dashboard_answers_during_a_load_and_shows_the_new_data_after_it(tmp_path: Path) -> None:
    path = tmp_path / "w.duckdb"
    load([exports(tmp_path / "x", seed=1)], path)
    asker = Asker(path, Settings())
    assert stored(asker, "fit_sessions") == SESSIONS
    running = start("load", exports(tmp_path / "y", seed=2, first=500), "--warehouse", path)
    first_step(running)
    running.send_signal(signal.SIGSTOP)
    assert stored(asker, "fit_sessions") == SESSIONS
    assert stored(Asker(path, Settings()), "fit_sessions") == SESSIONS
    running.send_signal(signal.SIGCONT)
    running.communicate()
    assert stored(asker, "fit_sessions") == 2 * SESSIONS

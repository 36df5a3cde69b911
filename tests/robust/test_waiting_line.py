"""Writers of one warehouse take turns in the order in which they came; each is told its place, and a killed one leaves."""

import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from threading import Thread

import pytest

from etl.load import load
from shared.errors import WarehouseBusyError
from shared.files import beside, held
from shared.warehouse import open_reading
from tests.robust.loads import exports

N_LOADS = 4
STANDS = """
import sys
from pathlib import Path
from shared.files import held
with held(Path(sys.argv[1]), 60, lambda n: print(n, flush=True)):
    raise AssertionError("it was killed before its turn")
"""


class Comer:
    """A writer in a thread of its own, which notes its name when its turn comes."""

    def __init__(self, path: Path, name: int, turns: list[int]) -> None:
        self.places: list[int] = []
        self._thread = Thread(target=self._come, args=(path, name, turns))
        self._thread.start()
        self.wait_for(1)

    def wait_for(self, n: int) -> None:
        """Waits until so many places were told."""
        while self._thread.is_alive() and len(self.places) < n:
            self._thread.join(0.01)

    def _come(self, path: Path, name: int, turns: list[int]) -> None:
        with held(path, 60, self.places.append):
            turns.append(name)

    def end(self) -> None:
        self._thread.join()


@contextmanager
def standing(path: Path) -> Iterator[subprocess.Popen[str]]:
    """A writer in a process of its own, in line."""
    with subprocess.Popen([sys.executable, "-c", STANDS, str(path)], stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout
        assert process.stdout.readline().strip().isdigit()
        yield process
        process.kill()


def test_forty_take_turns_in_the_order_in_which_they_came_and_are_told_their_places(tmp_path: Path) -> None:
    path = tmp_path / "w.duckdb"
    turns: list[int] = []
    with held(path):
        comers = [Comer(path, name, turns) for name in range(40)]
        assert [comer.places[0] for comer in comers] == list(range(40))
    for comer in comers:
        comer.end()
    assert turns == list(range(40))
    assert all(comer.places == sorted(comer.places, reverse=True) for comer in comers)
    assert not beside(path, ".line").exists()


def test_whoever_is_killed_in_line_holds_up_nobody(tmp_path: Path) -> None:
    path = tmp_path / "w.duckdb"
    turns: list[int] = []
    with held(path):
        with standing(path):
            comer = Comer(path, 1, turns)
            assert comer.places == [1]
        comer.wait_for(2)
        assert comer.places == [1, 0]
    comer.end()
    assert turns == [1]


def test_who_gives_up_says_how_many_wait_and_leaves_the_line(tmp_path: Path) -> None:
    path = tmp_path / "w.duckdb"
    turns: list[int] = []
    with held(path):
        comers = [Comer(path, name, turns) for name in range(2)]
        with pytest.raises(WarehouseBusyError) as refusal, held(path):
            raise AssertionError("it is held by another")
        assert str(refusal.value) == (
            f"{path}: another load is writing this warehouse, and 2 more wait for it. Nothing was changed. Wait for it to end, "
            "then load again."
        )
        assert len(list(beside(path, ".line").iterdir())) == 3  # the one that writes, too
    for comer in comers:
        comer.end()
    assert sorted(turns) == [0, 1]


def test_loads_at_once_all_go_in_and_each_is_told_its_place(tmp_path: Path) -> None:
    path = tmp_path / "w.duckdb"
    folders = [exports(tmp_path / str(no), seed=no, first=500 * no) for no in range(N_LOADS)]
    told: list[list[str]] = [[] for _ in folders]
    threads = []
    with held(path):
        for no, folder in enumerate(folders):

            def come(no: int = no, folder: Path = folder) -> None:
                load([folder], path, lambda done, total, words: told[no].append(words))

            threads.append(Thread(target=come))
            threads[-1].start()
            while not told[no]:
                threads[-1].join(0.01)
    for thread in threads:
        thread.join()
    assert [words[0] for words in told] == [
        "waiting for another load",
        "waiting for another load; 1 more before this one",
        "waiting for another load; 2 more before this one",
        "waiting for another load; 3 more before this one",
    ]
    warehouse = open_reading(path)
    n_sessions = warehouse.value("SELECT count(*) FROM core.fit_sessions")
    warehouse.close()
    assert n_sessions == 150 * N_LOADS

"""A watched folder: what is complete is loaded once, what is not is waited for; clock and pauses are the test's own."""

import json
import os
import signal
import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path

import pytest

from etl.history import undo
from etl.keeping.backup import back_up
from etl.keeping.restore import restore
from etl.keeping.watch import LONGEST_PAUSE, Watcher
from etl.load import load
from etl.read import FoundFile
from etl.report import LoadReport
from shared.errors import InputUnusableError, WarehouseBusyError, WarehouseError
from shared.settings import Settings
from shared.settings_running import Reading
from shared.warehouse import open_reading

SETTLED = 30.0


@dataclass
class Day:
    """A clock that goes on when it is told to, and what was loaded and told meanwhile."""

    now: float = 1_000_000.0
    loaded: list[list[str]] = field(default_factory=list)
    told: list[str] = field(default_factory=list)
    fault: Exception | None = None

    def load(self, files: list[FoundFile]) -> LoadReport:
        if self.fault:
            raise self.fault
        self.loaded.append([file.name for file in files])
        return LoadReport(load_id=len(self.loaded))

    def watcher(self, folder: Path, load: Callable[[list[FoundFile]], LoadReport] | None = None) -> Watcher:
        (folder / "drop").mkdir(exist_ok=True)
        return Watcher(
            folder / "drop",
            folder / "w.duckdb",
            load or self.load,
            clock=lambda: self.now,
            pause=lambda _: False,
            tell=self.told.append,
            settled_seconds=SETTLED,
        )

    def turn_after(self, watcher: Watcher, seconds: float) -> list[list[str]]:
        self.now += seconds
        before = len(self.loaded)
        watcher.turn()
        return self.loaded[before:]


def drop(folder: Path, name: str, text: str = "rider_id\nR1\n") -> Path:
    path = folder / "drop" / name
    path.write_text(text, encoding="utf-8")
    return path


def test_a_file_is_loaded_once_it_has_not_changed_for_the_settled_time(tmp_path: Path) -> None:
    day = Day()
    watcher = day.watcher(tmp_path)
    drop(tmp_path, "riders.csv", "rider_id\nR1\n")
    assert day.turn_after(watcher, 0) == []
    drop(tmp_path, "riders.csv", "rider_id\nR1\nR2\n")  # the copy goes on
    assert day.turn_after(watcher, SETTLED) == []
    assert day.turn_after(watcher, SETTLED - 1) == []
    assert day.turn_after(watcher, 1) == [["riders.csv"]]
    assert day.turn_after(watcher, 1000) == []
    assert len(day.told) == 1 and day.told[0].startswith("load 1: ")
    drop(tmp_path, "riders.csv", "rider_id\nR1\nR2\nR3\n")
    assert day.turn_after(watcher, 1) == []
    assert day.turn_after(watcher, SETTLED) == [["riders.csv"]]


def test_files_of_one_drop_are_loaded_together_and_one_that_never_settles_holds_nobody_up_for_ever(tmp_path: Path) -> None:
    day = Day()
    watcher = day.watcher(tmp_path)
    drop(tmp_path, "riders.csv")
    day.turn_after(watcher, 0)
    drop(tmp_path, "fitters.csv", "fitter_id,fitter_name\nF1,Alder\n")
    assert day.turn_after(watcher, SETTLED) == []
    assert day.turn_after(watcher, SETTLED) == [["fitters.csv", "riders.csv"]]
    drop(tmp_path, "riders-2.csv", "rider_id\nR5\n")
    turns = []
    for turn in range(12):
        drop(tmp_path, "knee_captures.csv", "x" * (turn + 1))
        turns += day.turn_after(watcher, SETTLED)
    assert turns == [["riders-2.csv"]]


def test_a_mark_of_the_sender_spares_the_wait_and_unfinished_names_are_passed_over(tmp_path: Path) -> None:
    day = Day()
    watcher = day.watcher(tmp_path)
    for name in (".riders.csv", "~riders.csv", "riders.csv.part", "riders.csv.filepart", "notes.txt"):
        drop(tmp_path, name)
    assert day.turn_after(watcher, 0) == day.turn_after(watcher, 10 * SETTLED) == []
    drop(tmp_path, "riders.csv")
    drop(tmp_path, "riders.csv.done", "")
    assert day.turn_after(watcher, 1) == [["riders.csv"]]


def test_a_failure_is_told_once_and_tried_again_ever_more_rarely(tmp_path: Path) -> None:
    day = Day(fault=WarehouseBusyError("w: another load is writing."))
    watcher = day.watcher(tmp_path)
    drop(tmp_path, "riders.csv")
    drop(tmp_path, "riders.csv.done", "")
    pauses = []
    for _ in range(9):
        day.turn_after(watcher, 1)
        pauses.append(watcher.next_pause)
    assert pauses == [20, 40, 80, 160, 320, 640, LONGEST_PAUSE, LONGEST_PAUSE, LONGEST_PAUSE]
    assert day.told == ["not loaded, will be tried again: w: another load is writing."]
    day.fault = WarehouseError("w: the disk refused.")
    day.turn_after(watcher, 1)
    assert len(day.told) == 2
    day.fault = None
    assert day.turn_after(watcher, 1) == [["riders.csv"]]
    assert (watcher.failures, watcher.next_pause) == (0, 10)


def test_a_file_that_cannot_be_used_is_told_once_also_after_a_restart(tmp_path: Path) -> None:
    day = Day(fault=InputUnusableError("nothing can be used."))
    drop_folder = day.watcher(tmp_path)
    drop(tmp_path, "riders.csv")
    drop(tmp_path, "riders.csv.done", "")
    for _ in range(3):
        day.turn_after(drop_folder, 1)
    day.turn_after(day.watcher(tmp_path), 1)
    assert day.told == ["refused: riders.csv: nothing can be used."]
    assert drop_folder.next_pause == 10


def test_a_folder_that_goes_away_is_a_failure_until_it_is_back(tmp_path: Path) -> None:
    day = Day()
    watcher = day.watcher(tmp_path)
    (tmp_path / "drop").rmdir()
    day.turn_after(watcher, 1)
    assert "the share is not connected" in day.told[0]
    (tmp_path / "drop").mkdir()
    drop(tmp_path, "riders.csv")
    assert day.turn_after(watcher, 1) == []
    assert day.turn_after(watcher, SETTLED) == [["riders.csv"]]


def test_once_goes_by_the_time_of_the_file(tmp_path: Path) -> None:
    day = Day()
    old = drop(tmp_path_with_drop(tmp_path), "riders.csv")
    new = drop(tmp_path, "fitters.csv", "fitter_id,fitter_name\nF1,Alder\n")
    os.utime(old, (day.now - SETTLED, day.now - SETTLED))
    os.utime(new, (day.now - 1, day.now - 1))
    day.watcher(tmp_path).turn(once=True)
    assert day.loaded == [["riders.csv"]]
    os.utime(new, (day.now + 3600, day.now + 3600))  # a share whose clock is ahead
    day.watcher(tmp_path).turn(once=True)
    assert day.loaded == [["riders.csv"]]
    day.now += 7200
    day.watcher(tmp_path).turn(once=True)
    assert day.loaded == [["riders.csv"], ["fitters.csv"]]


def tmp_path_with_drop(folder: Path) -> Path:
    (folder / "drop").mkdir()
    return folder


def n_riders(path: Path) -> int:
    warehouse = open_reading(path)
    n = int(warehouse.value("SELECT count(*) FROM core.riders"))
    warehouse.close()
    return n


def test_the_ledger_knows_files_over_restarts_undo_and_restored_backups(tmp_path: Path) -> None:
    day, path = Day(), tmp_path / "w.duckdb"

    def turn_of_a_new_watcher() -> None:
        watcher = day.watcher(tmp_path, partial(load, warehouse=path, wait_seconds=0))
        watcher.turn()
        day.now += SETTLED
        watcher.turn()

    drop(tmp_path_with_drop(tmp_path), "riders-1.csv")
    turn_of_a_new_watcher()
    made, _ = back_up(path, tmp_path / "one.backup")
    drop(tmp_path, "riders-2.csv", "rider_id\nR2\nR3\n")
    drop(tmp_path, "riders-3.csv", "rider_id\nR1\n")  # the same bytes under another name
    drop(tmp_path, "riders-4.csv", "rider_id\n R1\n")  # other bytes, and nothing new
    turn_of_a_new_watcher()
    assert [line.split(":")[0] for line in day.told] == ["load 1", "load 2"] and n_riders(path) == 3
    turn_of_a_new_watcher()
    assert len(day.told) == 2
    undo(path, 2)
    turn_of_a_new_watcher()
    assert (len(day.told), n_riders(path)) == (2, 1)
    restore(made, path, replace=True)
    turn_of_a_new_watcher()
    assert (len(day.told), n_riders(path)) == (3, 3)


def test_rejects_are_told_in_the_one_line_of_a_load(tmp_path: Path) -> None:
    day, path = Day(), tmp_path / "w.duckdb"
    drop(tmp_path_with_drop(tmp_path), "riders.csv", "rider_id,birth_year\nR1,1980\nR2,1850\n")
    drop(tmp_path, "riders.csv.done", "")
    day.watcher(tmp_path, partial(load, warehouse=path, wait_seconds=0)).turn()
    assert day.told == [
        "load 1: 1 files, 2 rows read = 2 stored + 0 replaced + 0 unchanged + 0 rejected + 0 waiting; "
        "1 faulty cell kept as not recorded; fitledger rejects lists the rejected rows"
    ]


@pytest.mark.parametrize("log", ["text", "json"])
def test_the_command_ends_cleanly_on_sigterm(tmp_path: Path, log: str) -> None:
    drop(tmp_path_with_drop(tmp_path), "riders.csv")
    drop(tmp_path, "riders.csv.done", "")
    command = [str(Path(sys.executable).with_name("fitledger")), "watch", "drop", "--every", "0.1", "--log", log]
    process = subprocess.Popen(command, cwd=tmp_path, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    assert process.stdout
    line = process.stdout.readline()
    if log == "json":
        lines = [json.loads(line), *(json.loads(process.stdout.readline()) for _ in range(2))]
        assert [one["message"].split(":")[0] for one in lines] == ["load begins", "load ended", "load 1"]
        assert len({one["load"] for one in lines}) == 1 and lines[1]["load_id"] == lines[2]["load_id"] == 1
        line = json.dumps(lines[2])
    assert "load 1: 1 files, 1 rows read = 1 stored" in line
    assert line.startswith('{"time": ' if log == "json" else "20")
    process.send_signal(signal.SIGTERM)
    rest, told = process.communicate(timeout=60)
    assert (process.returncode, rest, told) == (0, "", "")
    assert sorted(file.name for file in tmp_path.glob("w*")) == []
    assert {"fitledger.duckdb", "fitledger.duckdb.watched"} <= {file.name for file in tmp_path.iterdir()}


def test_once_exits_with_what_the_load_found(tmp_path: Path) -> None:
    drop(tmp_path_with_drop(tmp_path), "riders.csv", "rider_id,birth_year\nR1,1980\nR2,1850\n")
    drop(tmp_path, "riders.csv.done", "")
    command = [str(Path(sys.executable).with_name("fitledger")), "watch", "drop", "--once"]
    codes = [subprocess.run(command, cwd=tmp_path, capture_output=True, check=False).returncode for _ in range(2)]
    assert codes == [3, 0]
    gone = subprocess.run([*command[:2], "nowhere", "--once"], cwd=tmp_path, capture_output=True, text=True, check=False)
    assert (gone.returncode, "there is no such folder" in gone.stdout) == (5, True)


def test_one_file_that_cannot_be_used_keeps_no_other_out(tmp_path: Path) -> None:
    """Rows that contradict one another show when all are compared; the file that holds them is then refused alone."""
    settings = Settings(reading=Reading(most_rejected_rows=3))
    day = Day()
    watcher = day.watcher(tmp_path, load=partial(load, warehouse=tmp_path / "w.duckdb", settings=settings, wait_seconds=0))
    drop(tmp_path, "riders-1.csv", "rider_id,birth_year\n" + "".join(f"X,{1950 + n}\n" for n in range(5)))
    drop(tmp_path, "riders-2.csv", "rider_id,birth_year\nR2,1980\n")
    watcher.turn()
    day.now += 2 * SETTLED
    watcher.turn()
    assert [line.partition(":")[0] for line in day.told] == ["refused", "load 1"]
    assert "riders-1.csv: with it more than 3 rows" in day.told[0]
    day.now += 2 * SETTLED
    watcher.turn()
    assert len(day.told) == 2  # neither is tried again


def test_a_folder_of_too_many_files_is_told_once_and_nothing_is_kept_of_what_is_gone(tmp_path: Path) -> None:
    day = Day()
    watcher = day.watcher(tmp_path)
    watcher.reading = Reading(most_files=3)
    for number in range(4):
        drop(tmp_path, f"riders-{number}.csv", f"rider_id\nR{number}\n")
    watcher.turn()
    watcher.turn()
    assert len(day.told) == 1
    assert "holds more than 3 files of exports" in day.told[0]
    (tmp_path / "drop" / "riders-0.csv").unlink()
    watcher.turn()
    day.now += 2 * SETTLED
    watcher.turn()
    assert day.loaded == [["riders-1.csv", "riders-2.csv", "riders-3.csv"]]
    assert len(watcher.digests) == 3
    for number in (1, 2):
        (tmp_path / "drop" / f"riders-{number}.csv").unlink()
    watcher.turn()
    assert len(watcher.digests) == 1

"""A disk that is full, and files that cannot be read: the warehouse stays as it was, and the reader gets a sentence."""

import gzip
import shutil
import signal
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from dashboard.accounts.store import Accounts
from etl.load import load
from tests.robust.loads import exports, file_size_limit, first_step, start, state


@pytest.mark.parametrize("share", [0.5, 1.0, 1.1])
def test_a_file_that_may_not_grow_leaves_the_warehouse_as_it_was(tmp_path: Path, share: float) -> None:
    path = tmp_path / "w.duckdb"
    load([exports(tmp_path / "x", seed=1)], path)
    before, content = state(path), path.read_bytes()
    new = exports(tmp_path / "y", seed=2, first=500)
    process = start("load", new, "--warehouse", path, limit=file_size_limit(int(len(content) * share)))
    _, told = process.communicate()
    assert process.returncode == 5, told
    assert told.splitlines()[-1].startswith(f"fitledger: {path}: ")
    assert "Nothing was changed." in told
    assert path.read_bytes() == content
    load([new], path)
    assert state(path) != before


@contextmanager
def small_disk(place: Path, n_bytes: int) -> Iterator[bool]:
    """A disk of its own of this size where one may be mounted; tells whether it is one."""
    place.mkdir()
    mounted = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", f"size={n_bytes}", "tmpfs", str(place)], capture_output=True, check=False
    )
    try:
        yield mounted.returncode == 0
    finally:
        if mounted.returncode == 0:
            subprocess.run(["umount", str(place)], check=True)


def test_a_full_disk_leaves_the_warehouse_as_it_was(tmp_path: Path) -> None:
    elsewhere = tmp_path / "w.duckdb"
    load([exports(tmp_path / "x", seed=1)], elsewhere)
    size = elsewhere.stat().st_size
    new = exports(tmp_path / "y", seed=2, first=500)
    # Room for the warehouse and its copy, and for little more.
    with small_disk(tmp_path / "disk", 2 * size + 200_000) as is_disk:
        path = tmp_path / "disk" / "w.duckdb"
        shutil.copyfile(elsewhere, path)
        before = state(path)
        limit = None if is_disk else file_size_limit(size + 100_000)
        process = start("load", new, "--warehouse", path, limit=limit)
        _, told = process.communicate()
        assert process.returncode == 5, told
        assert "Nothing was changed." in told
        assert state(path) == before
        assert sorted(file.name for file in path.parent.iterdir()) == ["w.duckdb", "w.duckdb.lock"]


def test_an_account_that_the_disk_does_not_take_is_told_and_nothing_is_half_written(tmp_path: Path) -> None:
    """On the code before, it was told as a fault of the program (exit code 1), and a part of the file was left beside."""
    path = tmp_path / "w.duckdb"
    Accounts(path).add("ada", "owner", "four small words here")
    before = path.with_name("w.duckdb.accounts.json").read_bytes()
    words = ("user", "add", "ben", "--role", "owner", "--password-stdin", "--warehouse", path)
    process = start(*words, limit=file_size_limit(len(before)), asks=True)
    told, fault = process.communicate("four small words here\n")
    assert process.returncode == 2, fault
    assert fault.startswith(f"fitledger: {path}.accounts.json: the accounts could not be written (File too large).")
    assert "Nothing was changed." in fault and "Traceback" not in told + fault
    assert {file.name for file in tmp_path.iterdir() if file.suffix != ".lock"} == {"w.duckdb.accounts.json"}
    assert path.with_name("w.duckdb.accounts.json").read_bytes() == before


def test_a_file_that_breaks_off_is_refused_and_the_others_are_loaded(tmp_path: Path) -> None:
    folder = exports(tmp_path / "x", seed=1)
    packed = gzip.compress((folder / "knee_captures.csv").read_bytes())
    (folder / "knee_captures.csv").unlink()
    (folder / "knee_captures.csv.gz").write_bytes(packed[: len(packed) // 2])
    report = load([folder], tmp_path / "w.duckdb")
    refused = [file.file for file in report.files if file.refused]
    assert refused == ["knee_captures.csv.gz"]
    assert sum(file.stored for file in report.files) > 0


def test_a_file_that_goes_away_in_the_middle_leaves_the_warehouse_as_it_was(tmp_path: Path) -> None:
    path = tmp_path / "w.duckdb"
    load([exports(tmp_path / "x", seed=1)], path)
    before = state(path)
    new = exports(tmp_path / "y", seed=2, first=500)
    process = start("load", new, "--warehouse", path)
    first_step(process)
    process.send_signal(signal.SIGSTOP)
    (new / "foot_setups.csv").unlink()
    process.send_signal(signal.SIGCONT)
    _, told = process.communicate()
    assert process.returncode == 4, told
    assert "foot_setups.csv: the file was there when the load began, and is gone now. Nothing was changed." in told
    assert state(path) == before

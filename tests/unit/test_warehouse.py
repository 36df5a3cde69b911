"""Opening, holding and refusing: what the warehouse module promises without a load."""

import random
import subprocess
import sys
from collections import Counter
from pathlib import Path

import duckdb
import numpy as np
import pytest

from shared.errors import WarehouseBusyError, WarehouseDamagedError, WarehouseError
from shared.warehouse import WAREHOUSE_VERSION, Warehouse, in_memory, open_loading, open_reading, snapshot_of
from shared.working import PLACE


def made(path: Path) -> Path:
    """A file that has the version table of a warehouse and one row."""
    with open_loading(path) as warehouse:
        warehouse.run(
            "CREATE SCHEMA raw; CREATE TABLE raw.warehouse (version INTEGER); CREATE TABLE raw.rows (n INTEGER);"
            "INSERT INTO raw.rows VALUES (1)"
        )
        warehouse.run("INSERT INTO raw.warehouse VALUES ($version)", {"version": WAREHOUSE_VERSION})
    return path


def n_rows(path: Path) -> int:
    warehouse = open_reading(path)
    n = int(warehouse.value("SELECT count(*) FROM raw.rows"))
    warehouse.close()
    return n


def test_a_load_that_raises_leaves_the_file_and_nothing_beside_it(tmp_path: Path) -> None:
    path = made(tmp_path / "w.duckdb")
    before = snapshot_of(path)
    with pytest.raises(ZeroDivisionError), open_loading(path) as warehouse:
        warehouse.run("INSERT INTO raw.rows VALUES (2)")
        (warehouse.scratch / "copy.csv").write_text("x", encoding="utf-8")
        raise ZeroDivisionError
    assert snapshot_of(path) == before
    assert sorted(file.name for file in tmp_path.iterdir()) == ["w.duckdb", "w.duckdb.lock"]


def test_what_a_killed_load_left_is_cleared_by_the_next(tmp_path: Path) -> None:
    path = made(tmp_path / "w.duckdb")
    left = tmp_path / PLACE / "0123456789abcdef"
    (left / "scratch").mkdir(parents=True)
    for name in ("loading.duckdb", "loading.duckdb.wal", "scratch/copy.csv", "at-work.lock"):
        (left / name).write_bytes(b"half a page")
    with open_loading(path) as warehouse:
        warehouse.run("INSERT INTO raw.rows VALUES (2)")
    assert n_rows(path) == 2
    assert sorted(file.name for file in tmp_path.iterdir()) == ["w.duckdb", "w.duckdb.lock"]


def test_leaving_unchanged_keeps_the_file(tmp_path: Path) -> None:
    path = made(tmp_path / "w.duckdb")
    before = snapshot_of(path)
    with open_loading(path) as warehouse:
        warehouse.run("INSERT INTO raw.rows VALUES (2)")
        warehouse.leave_unchanged()
    assert snapshot_of(path) == before


def test_a_held_warehouse_is_told_once_and_refused_after_the_wait(tmp_path: Path) -> None:
    path = made(tmp_path / "w.duckdb")
    told: list[int] = []
    with (
        open_loading(path),
        pytest.raises(WarehouseBusyError, match="another load is writing"),
        open_loading(path, wait_seconds=0, on_wait=told.append),
    ):
        pass
    assert told == [0]


@pytest.mark.parametrize(
    ("fault", "words"),
    [
        (duckdb.OutOfMemoryException("failed to allocate"), "no memory is left for this step"),
        (duckdb.IOException("Could not write file: No space left on device\nmore"), "the disk refused (Could not write file"),
        (duckdb.TransactionException("Failed to commit: Could not write file"), "the disk refused (Failed to commit"),
        (duckdb.FatalException("database has been invalidated"), "the disk refused (database has been invalidated)"),
    ],
)
def test_a_fault_of_the_machine_becomes_a_sentence(tmp_path: Path, fault: duckdb.Error, words: str) -> None:
    class Broken:
        def extract_statements(self, text: str) -> list[object]:
            raise fault

    warehouse = Warehouse(Broken(), tmp_path / "w.duckdb")  # type: ignore[arg-type]
    with pytest.raises(WarehouseError) as told:
        warehouse.run("SELECT 1")
    assert words in str(told.value)
    assert "Nothing was changed." in str(told.value)
    assert "more" not in str(told.value)


def test_a_fault_of_a_statement_stays_a_fault_of_the_program() -> None:
    warehouse = in_memory()
    with pytest.raises(duckdb.CatalogException):
        warehouse.run("SELECT n FROM nowhere")
    warehouse.close()


def test_arrays_hold_missing_numbers_as_nan_and_missing_texts_as_none() -> None:
    warehouse = in_memory()
    found = warehouse.arrays("SELECT * FROM (VALUES (1, 'a', true, 0.5), (NULL, NULL, NULL, NULL)) AS t(n, word, is_so, x)")
    warehouse.close()
    np.testing.assert_array_equal(found["n"], [1.0, np.nan])
    np.testing.assert_array_equal(found["is_so"], [1.0, np.nan])
    np.testing.assert_array_equal(found["x"], [0.5, np.nan])
    assert found["word"].tolist() == ["a", None]


def test_damage_anywhere_in_the_file_is_told_as_damage_and_never_as_a_lock(tmp_path: Path) -> None:
    path = made(tmp_path / "w.duckdb")
    with open_loading(path) as warehouse:
        warehouse.run("CREATE TABLE raw.many AS SELECT n, 'text ' || n AS words FROM range(200000) AS t(n)")
    content, chance = path.read_bytes(), random.Random(20261130)
    # The three headers (4 kB each), the beginning and inside of blocks (256 kB each), and anywhere.
    blocks = range(12_288, len(content), 262_144)
    offsets = [0, 8, 100, 4096, 4104, 8192, 8200, *blocks, *(start + 4096 for start in blocks)]
    told: Counter[str] = Counter()
    for offset in [*offsets, *(chance.randrange(len(content)) for _ in range(20))]:
        spoilt = bytearray(content)
        spoilt[offset : offset + 8] = bytes(255 - byte for byte in spoilt[offset : offset + 8])
        path.write_bytes(spoilt)
        try:
            warehouse = open_reading(path)
            try:
                warehouse.value("SELECT bit_xor(hash(t)) FROM raw.many AS t")
                told["fine"] += 1  # a block that nothing is in
            finally:
                warehouse.close()
        except WarehouseError as fault:
            words = str(fault)
            assert isinstance(fault, WarehouseDamagedError) or "its beginning is damaged" in words, words
            assert "fitledger restore" in words and "program holds" not in words and "the disk refused" not in words
            told["damage"] += 1
    assert told["damage"] > 20


def test_a_file_that_is_cut_off_is_told_as_damage(tmp_path: Path) -> None:
    path = made(tmp_path / "w.duckdb")
    path.write_bytes(path.read_bytes()[:20_000])
    with pytest.raises(WarehouseDamagedError, match="this file is damaged"):
        open_reading(path)


def test_a_file_that_another_program_writes_is_told_as_such(tmp_path: Path) -> None:
    path = made(tmp_path / "w.duckdb")
    script = "import duckdb, sys; c = duckdb.connect(sys.argv[1]); print('open', flush=True); sys.stdin.read()"
    words = [sys.executable, "-c", script, str(path)]
    with subprocess.Popen(words, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as other:
        assert other.stdout and other.stdout.readline()
        with pytest.raises(WarehouseBusyError, match="another program holds this file for writing"):
            open_reading(path)
        other.communicate()
    open_reading(path).close()

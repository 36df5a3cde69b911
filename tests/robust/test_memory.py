"""Loads of every size within the memory that they may take: what does not fit is spilled, and a refusal names the limit."""

import resource
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from etl import mart, merge
from shared.errors import WarehouseError
from shared.memory import loading_memory
from shared.warehouse import WAREHOUSE_VERSION, LoadingWarehouse, open_working_copy
from tests.robust.loads import exports, start, state

# A thirtieth of 2 GB, and of the captures of ten to forty studios: the joins grow with both alike.
LIMIT_MB = 64
LADDER = (60_000, 120_000, 180_000, 240_000, 300_000)
FILL = (
    "INSERT INTO core.riders (rider_id) SELECT printf('R%06d', i) FROM range({fits}) AS rows(i)",
    "INSERT INTO core.fitters (fitter_id, fitter_name) VALUES ('F1', 'Alder')",
    "INSERT INTO core.fit_sessions (session_id, rider_id, fitter_id, studio_id, session_date, visit_kind) "
    "SELECT printf('S%06d', i), printf('R%06d', i), 'F1', 'quay', DATE '2026-01-01' + CAST(i % 300 AS INTEGER), 'first' "
    "FROM range({fits}) AS rows(i)",
    "INSERT INTO core.knee_captures (session_id, capture_no, side, knee_tilt_deg, knee_sway_mm) "
    "SELECT printf('S%06d', i // 8), 1 + (i % 8) // 2, CASE i % 2 WHEN 0 THEN 'left' ELSE 'right' END, i % 7 - 3, 10 + i % 5 "
    "FROM range({fits} * 8) AS rows(i)",
    "INSERT INTO core.foot_setups (session_id, capture_no, side, insole_level, shims_added, shim_place, stance_mm) "
    "SELECT session_id, capture_no, side, 'low', capture_no % 3, 'in_shoe', 0 FROM core.knee_captures",
)


@contextmanager
def studios(tmp_path: Path, n_captures: int) -> Iterator[LoadingWarehouse]:
    """A working copy with so many captures in core, under the limit."""
    folder = tmp_path / str(n_captures)
    folder.mkdir()
    with open_working_copy(folder / "c.duckdb", tmp_path / "w.duckdb") as warehouse:
        merge.make_tables(warehouse, WAREHOUSE_VERSION)
        for statement in FILL:
            warehouse.run(statement, fits=str(n_captures // 8))
        warehouse.limit_memory(LIMIT_MB)
        yield warehouse


@pytest.mark.parametrize("n_captures", LADDER)
def test_marts_of_every_size_are_built_within_the_limit(tmp_path: Path, n_captures: int) -> None:
    """On the code before, some of these sizes were refused and larger ones passed."""
    with studios(tmp_path, n_captures) as warehouse:
        mart.build(warehouse)
        told = warehouse.rows(
            "SELECT count(*) AS n, sum(abs(shims_step)) AS steps, count(*) FILTER (is_departure) AS left_at "
            "FROM mart.capture_facts"
        )
        assert told == [{"n": n_captures, "steps": n_captures // 4 * (1 + 2 + 1), "left_at": n_captures // 4}]
        assert warehouse.value("SELECT count(*) FROM mart.feet") == n_captures // 4
        assert warehouse.value("SELECT count(*) FROM mart.fits") == n_captures // 8
        # In the order of the whole, over the ends of the parts.
        assert warehouse.value("SELECT bool_and(fit_no = rowid) FROM mart.fits")


def test_a_load_that_cannot_go_on_names_its_limit_and_what_to_do(tmp_path: Path) -> None:
    with studios(tmp_path, 8_000) as warehouse:
        warehouse.limit_memory(50)
        with pytest.raises(WarehouseError) as refused:
            warehouse.run("CREATE TEMP TABLE t AS SELECT list(i::VARCHAR || 'x') AS held FROM range(9000000) AS rows(i)")
    told = str(refused.value)
    assert "needs more than the 50 MB of memory that a load may take here (set as [reading] loading_memory_mb)" in told
    assert "set [reading] loading_memory_mb in the settings to more" in told
    assert "disk" not in told


def test_a_load_keeps_within_the_address_space_of_its_process(tmp_path: Path) -> None:
    limit = 2 * 2**30
    process = start(
        "load", exports(tmp_path / "x", seed=1), "--warehouse", tmp_path / "w.duckdb",
        limit=lambda: resource.setrlimit(resource.RLIMIT_AS, (limit, limit)),
    )  # fmt: skip
    told, fault = process.communicate()
    assert process.returncode == 3, fault  # two broken rows
    assert "rows read" in told
    assert len(state(tmp_path / "w.duckdb")) > 0
    assert loading_memory(LIMIT_MB).n_bytes == LIMIT_MB * 1_000_000

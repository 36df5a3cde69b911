"""Shared fixtures. Every draw in the tests is seeded; any warning is a failure."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from etl import mart, merge
from etl.load import load
from shared import clock
from shared.warehouse import WAREHOUSE_VERSION, Warehouse, in_memory
from tests.told.hand_studio import make as make_hand_studio
from warehouse_demo import EXPORTS

# That of the demo's own clock: no test depends on the day on which it runs.
TODAY = clock.DEMO_TODAY


def pytest_make_parametrize_id(val: object, argname: str) -> str | None:
    """A case is never named by its bytes: packed ones hold the second they were packed in, and two workers would differ."""
    return argname if isinstance(val, bytes) else None


@pytest.fixture(scope="session", autouse=True)
def set_clock() -> Iterator[None]:
    """The date that an asker takes from the clock, for whoever hands it no other one."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(clock, "today", lambda: TODAY)
        yield


@pytest.fixture(scope="session")
def demo_warehouse(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A warehouse loaded from the demo exports."""
    path = tmp_path_factory.mktemp("demo") / "demo.duckdb"
    load([EXPORTS], path)
    return path


@pytest.fixture(scope="session")
def hand_studio(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The studio of tests/told/hand_studio.py, whose figures follow from a rule."""
    path = tmp_path_factory.mktemp("hand") / "hand.duckdb"
    make_hand_studio(path)
    return path


@pytest.fixture
def memory() -> Iterator[Warehouse]:
    """An empty warehouse in memory with all its tables and marts."""
    warehouse = in_memory()
    merge.make_tables(warehouse, WAREHOUSE_VERSION)
    mart.build(warehouse)
    yield warehouse
    warehouse.close()

"""What an object holds in memory, beside what the interpreter traces."""

import gc
import tracemalloc
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from dashboard.questions.memory.rows_on_demand import RowsOnDemand
from dashboard.questions.memory.sizes import held_bytes
from dashboard.questions.models.study import study_of
from shared.settings import Settings
from shared.warehouse import open_reading


@dataclass(frozen=True)
class Row:
    name: str
    n: int
    share: float


def traced(make: Callable[[], Any]) -> tuple[Any, int]:
    """What is made, and the bytes that the interpreter has given out for it and not taken back."""
    gc.collect()
    tracemalloc.start()
    try:
        before = tracemalloc.get_traced_memory()[0]
        made = make()
        gc.collect()
        return made, tracemalloc.get_traced_memory()[0] - before
    finally:
        tracemalloc.stop()


def beside(n: int) -> Callable[[], Any]:
    values = np.arange(n, dtype=float)
    return lambda: values


MADE: dict[str, Callable[[], Any]] = {
    "numbers": lambda: np.zeros(100_000),
    "texts": lambda: np.array([f"a text of its own, {place}" for place in range(20_000)], dtype=object),
    "rows": lambda: tuple(Row(f"row {place}", 1000 + place, place / 7) for place in range(20_000)),
    "lists by name": lambda: {f"list {place}": [float(place + step) for step in range(50)] for place in range(200)},
    "what a function keeps": lambda: beside(50_000),
    "what a part of a call keeps": lambda: partial(max, np.ones(50_000)),
    "rows on demand": lambda: RowsOnDemand({"a": np.ones(50_000)}, lambda columns: iter(columns["a"])),
}


@pytest.mark.parametrize("name", MADE)
def test_what_is_held_is_what_was_given_out_for_it(name: str) -> None:
    made, given_out = traced(MADE[name])
    assert held_bytes(made) == pytest.approx(given_out, rel=0.2)


def test_what_several_lead_to_counts_once_and_a_view_as_its_whole() -> None:
    whole = np.zeros(10_000)
    assert held_bytes(whole[:10]) == held_bytes(whole) == whole.nbytes
    assert held_bytes([whole, whole[5:], {"a": whole}]) < whole.nbytes + 1_000


def test_what_leads_to_itself_is_counted_to_an_end() -> None:
    ring: list[Any] = [1.5]
    ring.append(ring)
    assert 0 < held_bytes(ring) < 1_000


@pytest.mark.parametrize("outcomes", [(), ("tilt",), ("tilt", "sway", "offset")])
def test_the_study_books_the_memory_that_it_holds(demo_warehouse: Path, outcomes: tuple[str, ...]) -> None:
    """It was booked with 2.5 MB at every size."""
    warehouse = open_reading(demo_warehouse)
    study_of(warehouse, Settings())  # what is made once in the process

    def made() -> Any:
        study = study_of(warehouse, Settings())
        for outcome in outcomes:
            study.frame(outcome, np.ones(len(study.captures.n), dtype=bool))
        return study

    study, given_out = traced(made)
    warehouse.close()
    assert study.n_bytes == pytest.approx(given_out, rel=0.2)

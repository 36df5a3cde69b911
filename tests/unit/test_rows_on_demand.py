"""A list whose rows are made as they are read reads as a tuple of them, and makes no more than is read."""

from collections.abc import Iterator
from typing import Any

import numpy as np
import orjson
import pytest

from dashboard.questions.memory.rows_on_demand import Columns, RowsOnDemand
from dashboard.questions.memory.sizes import held_bytes

MADE: list[tuple[int, bool]] = []


def make(columns: Columns) -> Iterator[tuple[int, bool]]:
    for row in zip(columns["n"].tolist(), columns["even"].tolist(), strict=True):
        MADE.append(row)
        yield row


def rows(n: int) -> RowsOnDemand[tuple[int, bool]]:
    numbers = np.arange(n)
    MADE.clear()
    return RowsOnDemand({"n": numbers, "even": numbers % 2 == 0}, make)


def test_it_reads_as_a_tuple_of_its_rows() -> None:
    expected = tuple((n, n % 2 == 0) for n in range(7))
    assert rows(7) == expected and rows(7) == rows(7) and rows(6) != expected
    assert [rows(7)[place] for place in (0, 6, -1, -7)] == [expected[place] for place in (0, 6, -1, -7)]
    assert rows(7)[2:4] == expected[2:4] and rows(7)[5:99] == expected[5:] and len(rows(7)[::3]) == 3
    assert orjson.loads(orjson.dumps(rows(2), default=tuple)) == [[0, True], [1, False]]


@pytest.mark.parametrize("place", [7, -8])
def test_a_place_beyond_the_list_is_refused(place: int) -> None:
    with pytest.raises(IndexError):
        rows(7)[place]


def test_a_page_of_the_list_makes_that_page_alone() -> None:
    page = rows(1000)[25:50]
    assert not MADE and len(list(page)) == len(MADE) == 25


def test_some_of_the_rows_are_told_by_a_column() -> None:
    assert rows(5).where("even") == ((0, True), (2, True), (4, True))
    assert rows(0).where("even") == () and not rows(1)[1:].where("even")


def test_a_long_list_is_measured_without_making_a_row() -> None:
    answers: list[Any] = [type("Answer", (), {})() for _ in range(2)]
    answers[0].rows, answers[1].rows = rows(10_000), rows(20_000)
    small, large = map(held_bytes, answers)
    assert not MADE and 1.5 < large / small < 2.5

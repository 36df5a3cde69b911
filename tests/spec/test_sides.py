"""The question of left against right on tables small enough to count by hand."""

from collections import Counter
from pathlib import Path

import pytest

from dashboard.questions.selection.selection import parse_selection
from dashboard.questions.symmetry import asymmetry, sides
from dashboard.questions.symmetry.answers_sides import Sides
from shared.errors import TooFewError
from shared.settings import Settings
from shared.warehouse import Warehouse, open_reading
from tests.spec.tables import fill

SESSIONS = """
session_id | rider_id | fitter_id | studio_id | session_date | visit_kind
---------- | -------- | --------- | --------- | ------------ | ----------
S1         | R1       | F1        | quayside  | 2026-03-02   | first
S2         | R2       | F1        | quayside  | 2026-03-03   | first
S3         | R3       | F1        | ropewalk  | 2026-03-04   | first
S4         | R1       | F1        | quayside  | 2026-04-02   | refit
"""
# S1 departs 1.0 apart; S2 was captured once, 3.3 - 1.3 = the limit itself; S3 misses a tilt at arrival; S4 is no first session.
CAPTURES = """
session_id | capture_no | side  | knee_tilt_deg | knee_offset_mm
---------- | ---------- | ----- | ------------- | --------------
S1         | 1          | left  | 1.5           | 10
S1         | 1          | right | -1.5          | -10
S1         | 2          | left  | 0.6           | 0
S1         | 2          | right | -0.4          | 0
S2         | 1          | left  | 1.3           | 0
S2         | 1          | right | 3.3           | 15
S3         | 1          | left  | -2.0          | -
S3         | 1          | right | -             | 4
S3         | 2          | left  | 0.7           | -
S3         | 2          | right | -0.3          | 4
S4         | 1          | left  | 0.0           | 0
S4         | 1          | right | 9.0           | 0
"""


def asked(memory: Warehouse, most_cells: int = 2000, **words: str) -> Sides:
    fill(
        memory,
        riders="rider_id | riding\nR1 | road\nR2 | road\nR3 | gravel",
        fitters="fitter_id | fitter_name\nF1 | Alder",
        fit_sessions=SESSIONS,
        knee_captures=CAPTURES,
    )
    return sides.ask(memory, parse_selection(words), Settings(), most_cells)


def test_few_riders_stand_as_recorded(memory: Warehouse) -> None:
    found = {
        (row.quantity, row.moment, row.left_value, row.right_value): (row.is_beyond, row.n_riders, row.cell_size, row.unit)
        for row in asked(memory).sides
    }
    assert found == {
        ("tilt", "arrival", 1.5, -1.5): (True, 1, 0.0, "deg"),
        ("tilt", "arrival", 1.3, 3.3): (True, 1, 0.0, "deg"),
        ("tilt", "departure", 0.6, -0.4): (False, 1, 0.0, "deg"),
        ("tilt", "departure", 0.7, -0.3): (False, 1, 0.0, "deg"),
        ("offset", "arrival", 10.0, -10.0): (True, 1, 0.0, "mm"),
        ("offset", "arrival", 0.0, 15.0): (False, 1, 0.0, "mm"),  # 15 mm is not above the limit
        ("offset", "departure", 0.0, 0.0): (False, 1, 0.0, "mm"),
    }


def test_many_riders_are_counted_in_cells_by_their_centres(memory: Warehouse) -> None:
    """At departure 0.6, -0.4 and 0.7, -0.3 part at 0.25 and share the cell around 0.5, -0.5 at 0.5."""
    narrowed = CAPTURES.replace("S2         | 1          | right | 3.3 ", "S2         | 1          | right | -   ")
    asked(memory)
    memory.run("DELETE FROM core.knee_captures")
    fill(memory, knee_captures=narrowed)
    tilt = [row for row in sides.ask(memory, parse_selection({}), Settings(), 1).sides if row.quantity == "tilt"]
    assert [(row.moment, row.left_value, row.right_value, row.n_riders, row.cell_size) for row in tilt] == [
        ("arrival", 1.5, -1.5, 1, 0.5),
        ("departure", 0.5, -0.5, 2, 0.5),
    ]


def test_the_finest_cell_that_keeps_to_the_bound_is_taken(demo_warehouse: Path) -> None:
    warehouse = open_reading(demo_warehouse)
    whole = sides.ask(warehouse, parse_selection({}), Settings())
    riders = count(whole)
    sizes = []
    for bound in (2000, 800, 400, 200, 100):
        answer = sides.ask(warehouse, parse_selection({}), Settings(), bound)
        rows = Counter((row.quantity, row.moment) for row in answer.sides)
        assert max(rows.values()) <= bound
        assert count(answer) == riders
        sizes.append(next(row.cell_size for row in answer.sides if row.quantity == "tilt"))
        for row in answer.sides if bound < 800 else ():
            assert row.left_value % row.cell_size == row.right_value % row.cell_size == 0
    assert sizes == sorted(sizes) and sizes[0] == 0 and sizes[-1] > 0
    warehouse.close()


def test_the_counts_are_those_of_the_prevalence(demo_warehouse: Path) -> None:
    warehouse = open_reading(demo_warehouse)
    for words in ({}, {"visit_kind": "first", "arch_height": "low"}, {"studio": "quayside", "from": "2025-06-01"}):
        selection = parse_selection(words)
        counted = count(sides.ask(warehouse, selection, Settings()))
        for row in asymmetry.ask(warehouse, selection, Settings()).prevalence:
            assert counted[row.quantity, row.moment, True] == row.n_beyond
            assert counted[row.quantity, row.moment, False] == row.n_riders - row.n_beyond
    warehouse.close()


def count(answer: Sides) -> Counter[tuple[str, str, bool]]:
    riders: Counter[tuple[str, str, bool]] = Counter()
    for row in answer.sides:
        riders[row.quantity, row.moment, row.is_beyond] += row.n_riders
    return riders


def test_an_empty_selection_is_refused_and_the_headline_counts(memory: Warehouse) -> None:
    assert "in 2 of 2 riders at arrival and in 0 of 2 riders at departure" in asked(memory).headline
    with pytest.raises(TooFewError, match="No fit matches this selection"):
        sides.ask(memory, parse_selection({"studio": "elsewhere"}), Settings())

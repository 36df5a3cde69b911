"""How figures are written, and how empty cells come out of the warehouse."""

import numpy as np
import pytest

from dashboard.questions.selection.numbers import spoken, spoken_percent, spoken_percent_below
from shared.warehouse import in_memory


@pytest.mark.parametrize(
    ("value", "decimals", "unit", "told"),
    [(-0.25, 1, "°", "−0.2°"), (12, 1, "mm", "12.0\N{NO-BREAK SPACE}mm"), (-0.001, 2, "", "0.00"), (0.346, 2, "°", "0.35°")],
)
def test_numbers_carry_a_real_minus_and_their_unit(value: float, decimals: int, unit: str, told: str) -> None:
    assert spoken(value, decimals, unit) == told


def test_a_share_near_one_is_never_told_as_all() -> None:
    assert spoken_percent_below(0.99996) == "99.9\N{NO-BREAK SPACE}%"
    assert spoken_percent(0.384) == "38\N{NO-BREAK SPACE}%"


def test_empty_cells_are_none_or_nan() -> None:
    warehouse = in_memory()
    found = warehouse.arrays("SELECT * FROM (VALUES ('a', 1, 1.5, true), (NULL, NULL, NULL, NULL)) AS t(s, i, f, b)")
    warehouse.close()
    assert found["s"].tolist() == ["a", None]
    assert np.isnan(found["i"][1]) and np.isnan(found["f"][1]) and np.isnan(found["b"][1])

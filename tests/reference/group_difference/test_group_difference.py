"""Differences held for a starting value against R's least squares; see SOURCE.md."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from shared.errors import NotEstimableError, TooFewError
from shared.statistics.group_difference import adjusted_difference

ANOREXIA = pd.read_csv(Path(__file__).with_name("anorexia.csv"))


@pytest.mark.parametrize(
    ("group", "other", "estimate", "error"), [("FT", "Cont", 4.563063, 2.133336), ("Cont", "FT", -4.097066, 1.893493)]
)
def test_weight_after_treatment(group: str, other: str, estimate: float, error: float) -> None:
    others = np.column_stack([ANOREXIA["Prewt"], ANOREXIA["Treat"] == other]).astype(float)
    found = adjusted_difference(
        ANOREXIA["Postwt"].to_numpy(float), (ANOREXIA["Treat"] == group).to_numpy(), others, np.arange(len(ANOREXIA)), 0.95
    )
    assert found.estimate == pytest.approx(estimate, abs=1e-6)
    assert found.standard_error == pytest.approx(error, rel=0.15)
    assert 20 < found.df < len(ANOREXIA)


def test_two_equal_rows_a_rider_are_the_two_sample_t_test() -> None:
    """Twelve riders with two equal rows each: the interval is that of twelve rows, pooled variance, ten degrees of freedom."""
    value = np.array([1.0, 2, 3, 4, 5, 6, 3, 4, 5, 6, 7, 8])
    group = np.repeat([False, True], 6)
    twice = adjusted_difference(np.repeat(value, 2), np.repeat(group, 2), np.empty((24, 0)), np.repeat(np.arange(12), 2), 0.95)
    expected = stats.ttest_ind(value[group], value[~group])
    assert twice.estimate == pytest.approx(2.0)
    assert twice.standard_error**2 == pytest.approx(2 * 3.5 / 6)  # 3.5 is the variance of 1 to 6
    assert (twice.df, twice.p_value) == pytest.approx((10, expected.pvalue))


def test_a_group_of_one_rider_is_refused() -> None:
    with pytest.raises(NotEstimableError, match="rests on one rider alone"):
        adjusted_difference(np.arange(12.0), np.arange(12) == 3, np.empty((12, 0)), np.arange(12), 0.95)


def test_refusals() -> None:
    rows = np.arange(12.0)
    with pytest.raises(NotEstimableError, match="one of the two groups is empty"):
        adjusted_difference(rows, np.zeros(12, bool), np.empty((12, 0)), np.arange(12), 0.95)
    with pytest.raises(TooFewError, match="3 riders, and a difference needs at least 10"):
        adjusted_difference(rows, rows > 5, np.empty((12, 0)), np.arange(12) % 3, 0.95)

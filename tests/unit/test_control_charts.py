"""Limits: frozen from the base, over a gap, with a design effect, refused."""

import numpy as np
import pytest

from shared.errors import NotEstimableError, TooFewError
from shared.statistics.control_charts import p_limits, xmr_limits

NAN = np.nan


def test_no_moving_range_reaches_over_a_gap() -> None:
    """Ranges 1 and 3 remain of 10, 11, gap, 21, 24: the step from 11 to 21 is none."""
    values = np.array([10.0, 11.0, NAN, 21.0, 24.0])
    found = xmr_limits(values, np.ones(5, bool))
    assert found.centre == pytest.approx((10 + 11 + 21 + 24) / 4)
    assert found.high[0] - found.centre == pytest.approx(2.66 * (1 + 3) / 2)


def test_limits_are_frozen_from_the_base_period() -> None:
    values, base = np.array([1.0, 2.0, 1.0, 50.0]), np.array([True, True, True, False])
    found = xmr_limits(values, base)
    assert (found.centre, found.high[3], found.n_base) == pytest.approx((4 / 3, 4 / 3 + 2.66, 3))


def test_shares_widen_with_the_design_effect_and_stay_within_0_and_1() -> None:
    events, n = np.array([5.0, 5.0, 0.0]), np.array([10.0, 100.0, 0.0])
    found = p_limits(events, n, np.ones(3, bool), design_effect=2.0)
    p = 10 / 110
    assert found.centre == pytest.approx(p)
    assert found.high[1] == pytest.approx(p + 3 * (p * (1 - p) * 2 / 100) ** 0.5)
    assert (found.low[0], np.isnan(found.low[2])) == (0.0, True)


def test_what_has_no_limits_is_refused() -> None:
    with pytest.raises(TooFewError, match="1 period with"):
        xmr_limits(np.array([1.0, NAN]), np.ones(2, bool))
    with pytest.raises(
        NotEstimableError, match=r"^No limits: no two periods with a figure follow each other in the base period\.$"
    ):
        xmr_limits(np.array([1.0, NAN, 2.0]), np.ones(3, bool))
    with pytest.raises(TooFewError):
        p_limits(np.array([1.0, 0.0]), np.array([5.0, 0.0]), np.ones(2, bool))

"""Vectorised Wilson intervals and differences of two shares against Newcombe 1998; see SOURCE.md."""

import numpy as np
import pytest

from shared.errors import TooFewError
from shared.statistics.proportions import share_difference, wilson_interval


def test_wilson_intervals_of_several_groups() -> None:
    found = wilson_interval(np.array([81, 15, 0, 1, 29]), np.array([263, 148, 20, 29, 29]), 0.95)
    assert found.low == pytest.approx([0.255289, 0.062386, 0.0, 0.006113, 0.883030], abs=1e-6)
    assert found.high == pytest.approx([0.366210, 0.160487, 0.161125, 0.171755, 1.0], abs=1e-6)


def test_differences_of_two_groups() -> None:
    found = share_difference([56, 9, 10], [70, 10, 10], [48, 3, 0], [80, 10, 20], 0.95)
    assert found.estimate == pytest.approx([0.2, 0.6, 1.0])
    assert found.low == pytest.approx([0.052431, 0.170523, 0.679086], abs=1e-6)
    assert found.high == pytest.approx([0.333873, 0.809018, 1.0], abs=1e-6)


def test_nobody_is_refused() -> None:
    with pytest.raises(TooFewError, match="nobody is counted"):
        wilson_interval([1, 0], [5, 0], 0.95)

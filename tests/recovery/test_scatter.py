"""One fitter's noise does not hide what the others' fits did, and is told of no one where all measure alike."""

import numpy as np
import pytest
from scipy import stats

from tests.recovery.scatter import studios

N = 60


@pytest.mark.recovery
def test_a_noisy_fitter_is_told_and_takes_nothing_from_the_others() -> None:
    seen, alike = list(studios("one of six twice", N)), list(studios("alike", N))
    own, shared, usual = (
        float(np.mean(one)) for one in ([s.own for s in seen], [s.shared for s in seen], [s.own for s in alike])
    )
    assert sum(0 in one.told for one in seen) >= 0.9 * N
    # With the shared limit the quiet fitters' share falls by a third and more; by their own it stays.
    assert shared < usual - 0.03
    assert abs(own - usual) < 0.015


@pytest.mark.recovery
@pytest.mark.parametrize("case", ["alike", "alike, heavy tails"])
def test_no_one_is_told_where_all_measure_alike(case: str) -> None:
    assert sum(bool(one.told) for one in studios(case, N)) <= stats.binom.ppf(0.999, N, 0.02)


@pytest.mark.recovery
def test_no_one_is_told_for_anothers_noise() -> None:
    assert sum(any(number for number in one.told) for one in studios("one of six three times", N)) <= stats.binom.ppf(
        0.999, N, 0.02
    )

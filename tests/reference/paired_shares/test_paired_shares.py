"""McNemar's exact test and Newcombe's paired difference; see SOURCE.md."""

import numpy as np
import pytest
from scipy import stats

from shared.errors import TooFewError
from shared.statistics.paired_shares import paired_change, paired_shares


def test_approval_in_two_surveys() -> None:
    found = paired_shares(resolved=150, persisting=794, new=86, none=570, level=0.95)
    assert (found.share_before, found.share_after) == pytest.approx((944 / 1600, 880 / 1600))
    assert found.p_value == pytest.approx(3.7159361e-05, rel=1e-6)
    assert found.p_value == pytest.approx(2 * stats.binom.cdf(86, 236, 0.5), rel=1e-12)
    # Close to the chi-square test, which is (150 - 86)^2 / 236 with one degree of freedom.
    assert found.p_value == pytest.approx(stats.chi2.sf(17.35593, 1), rel=0.25)


def test_newcombes_interval_of_a_paired_difference() -> None:
    found = paired_shares(resolved=2, persisting=36, new=12, none=0, level=0.95)
    assert (found.difference, found.low, found.high) == pytest.approx((0.2, 0.0569, 0.3404), abs=5e-5)


def test_the_interval_turns_with_the_pairs() -> None:
    forth, back = paired_shares(8, 20, 3, 40, 0.95), paired_shares(3, 20, 8, 40, 0.95)
    assert (back.difference, back.low, back.high) == pytest.approx((-forth.difference, -forth.high, -forth.low))
    assert back.p_value == pytest.approx(forth.p_value)


def test_nobody_changed() -> None:
    found = paired_shares(0, 5, 0, 5, 0.95)
    assert (found.difference, found.p_value) == (0.0, 1.0)
    assert found.low < 0 < found.high


def test_rows_give_the_same_as_counts() -> None:
    before = np.array([True, True, False, False, True])
    after = np.array([False, True, True, False, False])
    assert paired_change(before, after, 0.95) == paired_shares(2, 1, 1, 1, 0.95)


def test_nobody_is_refused() -> None:
    with pytest.raises(TooFewError, match="nobody was seen both times"):
        paired_shares(0, 0, 0, 0, 0.95)

"""Wilson intervals against Newcombe 1998; see SOURCE.md."""

import numpy as np
import pytest

from shared.statistics.clustered.means import clustered_share


@pytest.mark.parametrize(
    ("events", "n", "low", "high"),
    [
        (81, 263, 0.255289, 0.366210),
        (15, 148, 0.062386, 0.160487),
        (0, 20, 0.0, 0.161125),
        (1, 29, 0.006113, 0.171755),
        (29, 29, 0.883030, 1.0),
    ],
)
def test_one_row_a_cluster_is_wilsons_interval(events: int, n: int, low: float, high: float) -> None:
    rows = np.repeat([1.0, 0.0], [events, n - events])
    found = clustered_share(rows, np.arange(n), 0.95)
    assert (found.low, found.high) == pytest.approx((low, high), abs=1e-6)


def test_rows_that_repeat_each_other_count_once() -> None:
    """Two identical rows a cluster must give the interval of one row a cluster (arithmetic)."""
    rows = np.repeat([1.0, 0.0], [15, 133])
    once = clustered_share(rows, np.arange(148), 0.95)
    twice = clustered_share(np.repeat(rows, 2), np.repeat(np.arange(148), 2), 0.95)
    assert twice.n_effective == pytest.approx(147.0)
    assert twice.low == pytest.approx(once.low, abs=1e-3)

"""A late effect on pairs whose share can be said by hand."""

import numpy as np
import pytest
from scipy import stats

from shared.errors import NotEstimableError, TooFewError
from shared.statistics.late import late_share


def test_the_share_is_the_slope_once_the_drift_of_each_place_is_taken_off() -> None:
    # Twelve riders, each with a repeat after a change of half a degree and one after none, both drifting by 0.1 and moved by a
    # rider's own 0.02: the first moved by 0.15 more, which is 30 % of the change.
    own = np.resize([0.02, -0.02], 12)
    difference = np.concatenate([0.1 + 0.15 + own, 0.1 - own])
    changed_by = np.repeat([0.5, 0.0], 12)
    found = late_share(difference, changed_by, np.ones(24, dtype=np.int64), np.tile(np.arange(12), 2), 0.95)
    assert found.share == pytest.approx(0.3)
    assert (found.n_pairs, found.n_riders) == (12, 12)
    assert found.low < 0.3 < found.high
    assert found.p_value < 0.001


def test_a_drift_of_one_place_is_no_late_effect() -> None:
    # Changes are followed at place 2 more often than at place 1, and every pair at place 2 drifts by one degree.
    place = np.array([1, 1, 1, 2, 2, 2] * 10, dtype=np.int64)
    changed_by = np.array([0.5, 0, 0, 0.5, 0.5, 0] * 10)
    noise = np.random.default_rng(1).normal(0, 0.01, 60)
    found = late_share((place == 2) + noise, changed_by, place, np.repeat(np.arange(20), 3), 0.95)
    assert abs(found.share) < 0.02


def test_the_test_is_of_a_share_above_none() -> None:
    rng = np.random.default_rng(2)
    changed_by = rng.choice([-0.5, 0.0, 0.5], 200)
    rider = np.repeat(np.arange(100), 2)
    place = np.ones(200, dtype=np.int64)
    # What goes further at first and comes back a little is no late effect.
    back = late_share(-0.3 * changed_by + rng.normal(0, 0.1, 200), changed_by, place, rider, 0.95)
    assert back.high < 0
    assert back.p_value > 0.99


def test_nothing_late_is_found_as_seldom_as_it_says() -> None:
    p_values = []
    for seed in range(400):
        rng = np.random.default_rng(seed)
        rider = np.repeat(np.arange(40), 3)
        changed_by = rng.choice([-0.5, 0.0, 0.4], 120)
        # Both knees of a rider share half of the noise.
        noise = rng.normal(0, 0.6, 40)[rider] + rng.normal(0, 0.6, 120)
        p_values.append(late_share(noise, changed_by, np.resize([1, 2, 3], 120), rider, 0.95).p_value)
    assert sum(p < 0.05 for p in p_values) <= stats.binom.ppf(0.999, 400, 0.05)
    assert sum(p < 0.05 for p in p_values) >= stats.binom.ppf(0.001, 400, 0.05)


def test_few_riders_and_pairs_that_cannot_be_told_from_their_place_are_refused() -> None:
    nine = np.arange(9)
    with pytest.raises(
        TooFewError, match=r"^Not enough yet: repeats after a change in 9 riders, and a late effect needs 10 at least\.$"
    ):
        late_share(np.zeros(9), np.ones(9), np.ones(9, dtype=np.int64), nine, 0.95)
    twelve = np.arange(12)
    with pytest.raises(
        NotEstimableError, match=r"^No figure: repeats after a change cannot be told from the order of the captures\.$"
    ):
        late_share(np.zeros(12), np.ones(12), np.ones(12, dtype=np.int64), twelve, 0.95)

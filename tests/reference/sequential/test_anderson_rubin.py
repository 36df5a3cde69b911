"""The third estimate's interval beside the set of Anderson & Rubin 1949, Ann Math Stat 20:46, by ivmodels, which holds however
weak what foresees the changes is."""

import numpy as np
import pytest
from ivmodels.tests import anderson_rubin_test, inverse_anderson_rubin_test

from shared.statistics.sequential.deviations import deviations
from shared.statistics.sequential.fits import SequentialFit, Sessions, fit_sequential
from shared.statistics.sequential.instruments import FOLDS, FirstStage
from shared.statistics.told import STRONG_FROM

Arrays = tuple[np.ndarray, np.ndarray, np.ndarray]
CRITICAL = 3.8415  # of chi-square on one degree of freedom, 95 %


def fitted(seed: int, riders: int, goes_by: float) -> tuple[SequentialFit, Arrays]:
    """Sessions of four captures; a support is raised the likelier, the lower the knee was at the capture before the last. With
    what was foreseen, the change and the outcome as deviations."""
    rng = np.random.default_rng(seed)
    rows = []
    for _ in range(riders):
        base, x, before = rng.normal(0, 1.5), 0.0, 0.0
        for _ in range(4):
            y = base + 0.5 * x + rng.normal(0, 0.6)
            rows.append((x, y))
            x += float(rng.random() < 1 / (1 + np.exp(goes_by * before))) - float(rng.random() < 0.5)
            before = y
    sessions = Sessions(np.full(riders, 4), np.arange(riders), np.array(rows), 1, np.ones((riders, 1)))
    found = deviations(sessions.rows, sessions.n)
    stage, turn = FirstStage(1, 1), np.arange(riders) % FOLDS
    stage.learn(found, sessions.known, turn)
    z = stage.foreseen(found, sessions.known, turn)[:, :1]
    return fit_sequential(sessions, ("support",)), (z, found.values[:, :1], found.values[:, 1])


@pytest.mark.parametrize("seed", range(3))
def test_where_it_is_strong_both_intervals_are_the_same(seed: int) -> None:
    fit, (z, x, y) = fitted(seed, 2000, 1.0)
    assert fit.strength[0] > 10 * STRONG_FROM
    told = fit.table(0.95)["support"]
    told_by_both = inverse_anderson_rubin_test(z, x, y, alpha=0.05, fit_intercept=False)
    ends = np.sort(np.roots([told_by_both.A.item(), told_by_both.b.item(), told_by_both.c]))
    np.testing.assert_allclose((told.low, told.high), ends, atol=0.1 * (told.high - told.low))
    # What the set holds, the test does not refuse, and the other way round.
    inside, outside = (
        anderson_rubin_test(z, x, y, np.array([at]), fit_intercept=False)[1] for at in (told.estimate, ends[1] + 0.05)
    )
    assert inside > 0.99
    assert outside < 0.05


def test_what_is_not_strong_bounds_no_such_set() -> None:
    """Where nothing before tells the change, the set has no ends, and the third is never leaned on."""
    for seed in range(12):
        fit, (z, x, y) = fitted(100 + seed, 60, 0.0)
        share = float((z[:, 0] @ x[:, 0]) ** 2 / (z[:, 0] @ z[:, 0]))
        f = (len(y) - 1) * share / (float(x[:, 0] @ x[:, 0]) - share)
        is_bounded = bool(inverse_anderson_rubin_test(z, x, y, alpha=0.05, fit_intercept=False).is_bounded())
        assert is_bounded == (f > CRITICAL)
        assert is_bounded or fit.strength[0] < STRONG_FROM

"""The sequential estimate: deviations by hand, what it may know, what each rider adds, strength and checks."""

import numpy as np
import pytest
from statsmodels.sandbox.regression.gmm import IV2SLS

from shared.errors import NotEstimableError, TooFewError
from shared.statistics.sequential.deviations import Deviations, blocks, deviations
from shared.statistics.sequential.fits import Sessions, fit_sequential, strengths
from shared.statistics.sequential.gmm import group_sums, over_identification, two_step
from shared.statistics.sequential.instruments import FOLDS, FirstStage

TRUE = 0.5


def sessions(seed: int, riders: int = 150, *, measured: float = 0.0, true: float = 0.0, persists: float = 0.0) -> Sessions:
    """Knees of two to six captures. A support is raised where the knee looks low, by the figure just measured or the truth."""
    rng = np.random.default_rng(seed)
    n = rng.integers(2, 7, 2 * riders)
    rows = []
    for cell in range(2 * riders):
        base, x, e = rng.normal(0, 1.5), float(rng.integers(0, 2)), rng.normal()
        for _ in range(n[cell]):
            e = persists * e + (1 - persists**2) ** 0.5 * rng.normal()
            y = base + TRUE * x + e
            rows.append((x, y))
            looks = measured * y + true * (y - e)
            x = float(np.clip(x + (looks < 0) - (looks > 1) * (rng.random() < 0.5), 0, 3))
    return Sessions(n, np.repeat(np.arange(riders), 2), np.array(rows), 1, np.ones((2 * riders, 1)))


def foreseen(found: Deviations, told: Sessions) -> tuple[np.ndarray, np.ndarray]:
    """The first support as foreseen from all that was known, and from setup and exam alone; two cells a rider."""
    stage, turn = FirstStage(1, told.known.shape[1]), np.arange(len(told.n)) // 2 % FOLDS
    stage.learn(found, told.known, turn)
    by_all, by_setup = stage.foreseen(found, told.known, turn).T
    return by_all, by_setup


def test_a_capture_less_the_mean_of_the_later_ones() -> None:
    """By hand, of 3, 1, 2: (3 - 1.5) √(2/3) and (1 - 2) √(1/2); before the second is 3, and a cell of one has none."""
    found = deviations(np.array([[3.0], [1.0], [2.0], [9.0]]), np.array([3, 1]))
    np.testing.assert_allclose(found.values[:, 0], [1.5 * (2 / 3) ** 0.5, -(0.5**0.5)])
    np.testing.assert_array_equal(found.present[:, 0], [3, 1])
    np.testing.assert_array_equal(found.before[:, 0], [0, 3])
    np.testing.assert_array_equal(found.place, [0, 1])
    np.testing.assert_array_equal(found.cell, [0, 0])


@pytest.mark.parametrize("seed", range(5))
def test_with_every_column_its_own_instrument_the_deviations_give_the_within_estimate(seed: int) -> None:
    """Arellano & Bover 1995, J Econometrics 68:29."""
    rng = np.random.default_rng(seed)
    n = rng.integers(1, 7, 40)
    rows, cell = rng.normal(size=(int(n.sum()), 4)), np.repeat(np.arange(40), n)
    less = rows - (np.apply_along_axis(lambda column: np.bincount(cell, column), 0, rows) / n[:, None])[cell]
    values = deviations(rows, n).values
    of_deviations, of_means = (np.linalg.lstsq(table[:, :3], table[:, 3], rcond=None)[0] for table in (values, less))
    np.testing.assert_allclose(of_deviations, of_means, rtol=1e-10)


def test_what_is_foreseen_knows_no_outcome_from_the_capture_on_and_learns_from_other_riders() -> None:
    told = sessions(1, measured=1.0)
    last = np.flatnonzero(told.n >= 4)[-1]
    start = int(told.n[:last].sum())
    rows = told.rows.copy()
    rows[start + 1, 1] += 10
    found, changed = (deviations(table, told.n) for table in (told.rows, rows))
    rider = found.cell // 2
    (before, before_setup), (after, after_setup) = (foreseen(one, told) for one in (found, changed))
    own = np.flatnonzero(found.cell == last)
    np.testing.assert_allclose(before[own[:2]], after[own[:2]], rtol=1e-9)
    assert np.all(np.abs(before[own[2:]] - after[own[2:]]) > 1e-3)
    np.testing.assert_allclose(before_setup[own], after_setup[own], rtol=1e-9)
    # Riders of the same turn learn nothing from it either.
    alike = (rider % FOLDS == rider[own[0]] % FOLDS) & (found.cell != last)
    np.testing.assert_allclose(before[alike], after[alike], rtol=1e-6)


@pytest.mark.parametrize(("measured", "true"), [(1.0, 0.0), (0.0, 1.0), (0.5, 0.5)])
def test_the_truth_comes_back_whatever_the_fitter_goes_by(measured: float, true: float) -> None:
    fit = fit_sequential(sessions(7, 1500, measured=measured, true=true), ("support",))
    assert abs(fit.estimate[0] - TRUE) < 3 * fit.covariance[0, 0] ** 0.5 < 0.3
    assert fit.strength[0] > 100
    assert fit.m2_p_value > 0.05
    assert fit.j_p_value > 0.05


@pytest.mark.parametrize("rows", [1, 40, 10_000])
def test_block_by_block_is_the_whole(rows: int, monkeypatch: pytest.MonkeyPatch) -> None:
    told = sessions(3, 60, measured=1.0)
    whole = fit_sequential(told, ("support",))
    assert [rows for _, _, *rows in blocks(np.array([3, 2, 5]), 5)] == [[0, 5], [5, 10]]
    monkeypatch.setattr("shared.statistics.sequential.fits._BLOCK", rows)
    parts = fit_sequential(told, ("support",))
    np.testing.assert_allclose(parts.estimate, whole.estimate, rtol=1e-9)
    np.testing.assert_allclose(parts.covariance, whole.covariance, rtol=1e-9)
    assert (parts.m2, parts.j_p_value) == pytest.approx((whole.m2, whole.j_p_value), rel=1e-9)
    # Intercept, setup, and from the second place on its change, whether it changed and the outcome before: 2 + 4 × 5, of 4/5.
    assert whole.learnt == pytest.approx(22 * 5 / 4)


def test_noise_that_reaches_the_next_capture_is_found() -> None:
    fit = fit_sequential(sessions(7, 1500, measured=1.0, persists=0.5), ("support",))
    assert fit.m2 < -3
    assert fit.m2_p_value < 0.003


def test_each_rider_adds_what_the_estimate_loses_without_them() -> None:
    told = sessions(3, 30, measured=1.0)
    fit = fit_sequential(told, ("support",))
    found = deviations(told.rows, told.n)
    rider, x, y = found.cell // 2, found.values[:, :1], found.values[:, 1]
    z = foreseen(found, told)[0][:, None]
    whole = IV2SLS(y, x, z).fit().params
    assert fit.estimate == pytest.approx(whole, rel=1e-10)
    without = [IV2SLS(y[rider != one], x[rider != one], z[rider != one]).fit().params[0] for one in range(30)]
    np.testing.assert_allclose(fit.influence[:, 0], whole[0] - without, rtol=1e-5, atol=1e-12)
    assert fit.covariance[0, 0] == pytest.approx(float(np.sum((whole[0] - without) ** 2)), rel=1e-5)


def test_one_instrument_s_strength_is_its_squared_clustered_t() -> None:
    rng = np.random.default_rng(2)
    rider = np.repeat(np.arange(50), 4)
    z = rng.normal(size=(200, 1))
    x = 0.4 * z + rng.normal(size=(200, 1))
    slope = float((z.T @ x / (z.T @ z))[0, 0])
    scores = group_sums(z, rider, (x - slope * z)[:, 0])
    t = slope * float((z.T @ z)[0, 0]) / float((scores.T @ scores)[0, 0]) ** 0.5
    assert strengths(x, z, 1, rider)[0] == pytest.approx(t**2, rel=1e-10)


def test_two_supports_that_are_foreseen_by_one_thing_alone_are_weak_together() -> None:
    rng = np.random.default_rng(4)
    rider, one, other = np.repeat(np.arange(200), 4), *rng.normal(size=(2, 800))
    z = np.column_stack([one, other])
    strong = np.column_stack([one, other]) + rng.normal(size=(800, 2))
    tied = np.column_stack([one, one]) + rng.normal(size=(800, 2))
    assert strengths(strong, z, 2, rider).min() > 100
    assert strengths(tied, z, 2, rider).max() < 10


def test_the_j_of_two_steps_is_asked_without_them() -> None:
    rng = np.random.default_rng(5)
    rider, z = np.repeat(np.arange(60), 3), rng.normal(size=(180, 3))
    x = z[:, :1] + rng.normal(size=(180, 1))
    y = x[:, 0] + rng.normal(size=180)
    assert over_identification(x, z, y, rider) == pytest.approx(two_step(x, z, y, rider).j_p_value, rel=1e-12)
    # An instrument that acts on the outcome by itself.
    assert over_identification(x, z, y + z[:, 2], rider) < 1e-4


def test_too_few_riders_and_what_cannot_be_foreseen_are_refused() -> None:
    with pytest.raises(TooFewError, match="19 riders with a knee recorded twice; it takes 20"):
        fit_sequential(sessions(1, 19), ("support",))
    with pytest.raises(NotEstimableError, match="foresees no change"):
        fit_sequential(sessions(1, measured=0.0), ("support",))  # nobody changes anything

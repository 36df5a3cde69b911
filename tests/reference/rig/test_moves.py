"""The step's statistic against least squares made anew at every date, and the tail of its supremum against simulation."""

import numpy as np
import pytest
import statsmodels.api as sm
from statsmodels.datasets import nile

from shared.statistics.rig.moves import DATES_NOT_TOLD_APART, Series, level_of, moves_of, supremum_p_value


def nile_series(least: int = 15) -> tuple[Series, np.ndarray]:
    data = nile.load_pandas().data
    flow, year = data["volume"].to_numpy(float), data["year"].to_numpy(int)
    return Series(flow, np.ones((len(flow), 1)), np.arange(len(flow)), year, least), year


def test_the_nile_falls_from_1899_on() -> None:
    series, year = nile_series()
    (move,) = moves_of(series, 1, 0.0)
    assert (move.kind, move.day) == ("step", 1899)
    assert move.day_low <= 1899 <= move.day_high

    def fit(first: int) -> object:
        return sm.OLS(series.values, np.column_stack([series.design, year >= first])).fit()

    tests = {first: float(fit(first).tvalues[1]) for first in range(1886, 1956)}
    assert max(tests, key=lambda first: abs(tests[first])) == 1899
    expected = fit(1899)
    assert move.estimate == pytest.approx(expected.params[1], rel=1e-9)
    assert (move.low, move.high) == pytest.approx(expected.conf_int()[1], rel=1e-9)


def test_riders_who_come_again_are_weighed_by_the_covariance_written_out() -> None:
    rng = np.random.default_rng(5)
    n = 240
    rider = rng.integers(0, 90, n)
    day = np.sort(rng.integers(0, 300, n))
    beside = rng.normal(size=n)
    values = 0.4 * beside + rng.normal(0, 1.5, 90)[rider] + rng.normal(0, 0.5, n) + 1.2 * (day >= 180)
    series = Series(values, np.column_stack([np.ones(n), beside]), rider, day, 20)
    move = moves_of(series, 1, 0.0)[0]
    assert move.kind == "step"
    # Variances by moments, as METHODS.md says, from the residuals without a step.
    design = series.design
    residual = values - design @ np.linalg.lstsq(design, values, rcond=None)[0]
    groups = [residual[rider == each] for each in np.unique(rider)]
    noise = sum(float(np.sum((group - group.mean()) ** 2)) for group in groups) / (n - len(groups))
    own = float(residual @ residual) / n - noise
    covariance = own * (rider[:, None] == rider[None, :]) + noise * np.eye(n)
    whole = np.column_stack([design, day >= move.day])
    expected = sm.GLS(values, whole, sigma=covariance).fit()
    assert move.estimate == pytest.approx(expected.params[-1], rel=1e-9)
    assert (move.low, move.high) == pytest.approx(expected.conf_int()[-1], rel=1e-9)


def test_the_level_is_the_intercept() -> None:
    series, _ = nile_series()
    level, expected = level_of(series), sm.OLS(series.values, series.design).fit()
    assert (level.estimate, level.error, level.df) == pytest.approx((expected.params[0], expected.bse[0], expected.df_resid))


def test_the_tail_of_the_supremum() -> None:
    rng = np.random.default_rng(11)
    steps, first, last = 2000, 0.15, 0.85
    times = np.arange(1, steps) / steps
    inside = (times >= first) & (times <= last)
    largest = []
    for _ in range(20):
        walk = np.cumsum(rng.standard_normal((1000, steps), dtype=np.float32), axis=1) / np.float32(steps**0.5)
        bridge = walk[:, :-1][:, inside] - times[inside].astype(np.float32) * walk[:, -1:]
        largest.append((np.abs(bridge) / np.sqrt(times[inside] * (1 - times[inside])).astype(np.float32)).max(axis=1))
    for share in (0.05, 0.02, 0.01):
        limit = float(np.quantile(np.concatenate(largest), 1 - share))
        assert supremum_p_value(limit, first, last) == pytest.approx(share, rel=0.2)


def test_few_dates_and_small_values_raise_nothing() -> None:
    assert supremum_p_value(0.5, 0.15, 0.85) == 1.0
    assert supremum_p_value(1.2, 0.01, 0.99) == 1.0


def test_dates_are_told_apart_from_hansen_s_limit_on() -> None:
    assert round(DATES_NOT_TOLD_APART, 2) == 7.35

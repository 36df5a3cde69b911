"""Control limits against the NIST/SEMATECH examples; see SOURCE.md."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from shared.statistics.control_charts import Limits, p_limits, xmr_limits

HERE = Path(__file__).parent


def outside(values: np.ndarray, limits: Limits) -> np.ndarray:
    return (values < limits.low) | (values > limits.high)


def test_individuals_chart_of_the_flow_rate() -> None:
    flow = pd.read_csv(HERE / "nist_flowrate_xmr.csv")["flow"].to_numpy(float)
    found = xmr_limits(flow, np.ones(10, bool))
    assert found.centre == pytest.approx(50.81, abs=1e-9)
    assert (found.low[0], found.high[0]) == pytest.approx((45.815111, 55.804889), abs=1e-6)
    assert (found.low[0], found.high[0]) == pytest.approx((45.8159, 55.8041), abs=1e-3)  # the handbook's 3 / 1.128
    assert not outside(flow, found).any()


def test_p_chart_of_thirty_samples() -> None:
    samples = pd.read_csv(HERE / "nist_pchart_30x50.csv")
    events, n = samples["defective"].to_numpy(float), samples["n"].to_numpy(float)
    found = p_limits(events, n, np.ones(30, bool))
    assert (found.centre, found.low[0], found.high[0]) == pytest.approx((0.231333, 0.052428, 0.410239), abs=1e-6)
    out = outside(events / n, found)
    assert (np.flatnonzero(out) + 1).tolist() == [15, 23]


def test_p_chart_with_limits_frozen_from_the_other_samples() -> None:
    samples = pd.read_csv(HERE / "nist_pchart_30x50.csv")
    events, n = samples["defective"].to_numpy(float), samples["n"].to_numpy(float)
    base = ~np.isin(np.arange(1, 31), [15, 23])
    found = p_limits(events, n, base)
    assert (found.centre, found.low[0], found.high[0]) == pytest.approx((0.215, 0.040703, 0.389297), abs=1e-6)
    assert (np.flatnonzero(outside(events / n, found)) + 1).tolist() == [15, 21, 23]

"""Kaplan-Meier, log-rank and competing ends against published and hand-computed values; see SOURCE.md."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from shared.errors import NotEstimableError, TooFewError
from shared.statistics.time_to_event import COMPETING, ENDED, OPEN, cumulative_incidence, log_rank, number_at_risk

HERE = Path(__file__).parent
GEHAN = pd.read_csv(HERE / "gehan_6mp.csv")
TIME, ENDS, ARM = GEHAN["time"].to_numpy(float), GEHAN["cens"].to_numpy(bool), GEHAN["treat"].to_numpy(str)


def test_kaplan_meier_of_the_6mp_arm() -> None:
    arm = ARM == "6-MP"
    found = cumulative_incidence(TIME[arm], ENDS[arm].astype(int), 0.95)
    assert found.time.tolist() == [6, 7, 10, 13, 16, 22, 23]
    survival = [0.857143, 0.806723, 0.752941, 0.690196, 0.627451, 0.537815, 0.448179]
    assert 1 - found.incidence == pytest.approx(survival, abs=1e-6)
    assert (1 - found.high[0], 1 - found.low[0]) == pytest.approx((0.619718, 0.951552), abs=1e-6)
    assert found.at_risk.tolist() == [21, 17, 15, 12, 11, 7, 6]


def test_kaplan_meier_of_the_control_arm_ends_at_all() -> None:
    arm = ARM == "control"
    found = cumulative_incidence(TIME[arm], ENDS[arm].astype(int), 0.95)
    at = dict(zip(found.time.tolist(), (1 - found.incidence).tolist(), strict=True))
    assert [at[week] for week in (1, 5, 8, 12, 23)] == pytest.approx([0.904762, 0.571429, 0.380952, 0.190476, 0], abs=1e-6)
    assert np.isnan(found.low[-1]) and np.isnan(found.high[-1])


def test_log_rank_of_the_two_arms() -> None:
    found = log_rank(TIME, ENDS, ARM)
    assert found.groups == ("6-MP", "control")
    assert found.chi_square == pytest.approx(16.792941, abs=1e-6)
    assert found.p_value == pytest.approx(4.168809e-05, rel=1e-6)
    assert found.observed.tolist() == [9, 21]
    assert found.expected == pytest.approx([19.250501, 10.749499], abs=1e-6)


def test_log_rank_of_maintained_chemotherapy() -> None:
    aml = pd.read_csv(HERE / "aml_leukemia.csv")
    found = log_rank(aml["time"].to_numpy(float), aml["status"].to_numpy(bool), aml["x"].to_numpy(str))
    assert (found.chi_square, found.p_value) == pytest.approx((3.396389, 0.0653393), abs=1e-6)
    assert sorted(found.expected) == pytest.approx([7.310664, 10.689336], abs=1e-6)


def test_cumulative_incidence_beside_a_competing_end() -> None:
    """Progression (1) beside death without it (2) in 1,384 patients."""
    table = pd.read_csv(HERE / "mgus2_ends.csv")
    rows = table.loc[table.index.repeat(table["n"])]
    found = cumulative_incidence(rows["months"].to_numpy(float), rows["end"].to_numpy(int), 0.95)
    at = np.searchsorted(found.time, [60, 120, 240], side="right") - 1
    assert found.incidence[at] == pytest.approx([0.034104, 0.063722, 0.099814], abs=1e-6)
    assert found.competing[at] == pytest.approx([0.320367, 0.531818, 0.724028], abs=1e-6)


def test_a_competing_end_takes_rows_out_without_counting_them() -> None:
    """Times 1 (ended), 2 (competing), 3 (ended), 4 (open), 5 (ended): free of both ends 4/5, 3/5, 2/5, 2/5, 0."""
    time = np.array([1.0, 2.0, 3.0, 4.0, 5.0])
    found = cumulative_incidence(time, np.array([ENDED, COMPETING, ENDED, OPEN, ENDED]), 0.95)
    assert found.time.tolist() == [1, 2, 3, 5]
    assert found.at_risk.tolist() == [5, 4, 3, 1]
    assert found.incidence == pytest.approx([1 / 5, 1 / 5, 1 / 5 + 3 / 5 / 3, 1 / 5 + 3 / 5 / 3 + 2 / 5], abs=1e-12)
    assert found.competing == pytest.approx([0, 4 / 5 / 4, 1 / 5, 1 / 5], abs=1e-12)


def test_without_censoring_the_incidence_is_the_plain_share_and_its_interval_holds_it() -> None:
    status = np.repeat([ENDED, COMPETING, OPEN], [30, 20, 50])
    time = np.where(status == OPEN, 40.0, np.arange(100) % 20 + 1.0)
    found = cumulative_incidence(time, status, 0.95)
    assert (found.incidence[-1], found.competing[-1]) == pytest.approx((0.3, 0.2), abs=1e-12)
    # Without censoring the variance is the binomial one up to a factor n / (n - 1): 0.3 0.7 / 100.
    half = np.log(np.log(found.low[-1]) / np.log(found.high[-1])) / 2
    assert half == pytest.approx(1.959964 * (0.3 * 0.7 / 100) ** 0.5 / (0.3 * abs(np.log(0.3))), rel=0.02)


def test_a_row_censored_at_a_time_is_still_at_risk_then() -> None:
    assert number_at_risk(np.array([3.0, 5.0, 5.0]), np.array([0.0, 3.0, 4.0, 5.0, 6.0])).tolist() == [3, 3, 2, 2, 0]


def test_what_has_no_answer_is_refused() -> None:
    with pytest.raises(TooFewError):
        cumulative_incidence(np.array([]), np.array([], int), 0.95)
    with pytest.raises(NotEstimableError, match="at least two groups"):
        log_rank(TIME, ENDS, np.full(len(TIME), "one"))
    with pytest.raises(NotEstimableError, match="no fit ended"):
        log_rank(TIME, np.zeros(len(TIME), bool), ARM)
    assert len(cumulative_incidence(np.array([4.0, 5.0]), np.array([OPEN, OPEN]), 0.95).time) == 0

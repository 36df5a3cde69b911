"""Time to an end: Kaplan-Meier, cumulative incidence with a competing end, numbers at risk, log-rank."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats
from statsmodels.duration.survfunc import CumIncidenceRight, SurvfuncRight, survdiff

from shared.errors import NotEstimableError, TooFewError

Array = NDArray[np.float64]

OPEN, ENDED, COMPETING = 0, 1, 2


@dataclass(frozen=True)
class Curve:
    """Cumulative incidence at each time at which a row ended, all of shape (times,).

    `incidence`, `low`, `high` are shares that ended by then; `competing` the share that ended otherwise; `at_risk` counts the
    rows with neither end before that time. An interval that cannot be computed (the last row ended) is NaN.
    """

    time: Array
    at_risk: NDArray[np.int64]
    incidence: Array
    low: Array
    high: Array
    competing: Array


@dataclass(frozen=True)
class LogRank:
    """Chi-square on groups - 1 degrees of freedom; observed and expected ends of each of `groups`."""

    groups: tuple[str, ...]
    observed: Array
    expected: Array
    chi_square: float
    df: int
    p_value: float


def cumulative_incidence(time: Array, status: NDArray[np.int64], level: float) -> Curve:
    """The share of rows that have ended by each time.

    time: shape (n,), zero or more; status: OPEN (censored), ENDED or COMPETING, shape (n,). With a competing end:
    Aalen-Johansen (statsmodels' CumIncidenceRight), interval on the scale log(-log(incidence)). Without one: one less
    Kaplan-Meier (SurvfuncRight), interval on the scale log(-log(survival)). A row censored at a time is at risk at that time.
    Raises TooFewError without rows. Rows are taken as independent.
    Sources: Kaplan & Meier 1958, J Am Stat Assoc 53:457; Aalen & Johansen 1978, Scand J Stat 5:141; Kalbfleisch & Prentice
    2002, The Statistical Analysis of Failure Time Data, 1.4 (intervals).
    """
    if len(time) == 0:
        raise TooFewError("Not enough yet: no fit to follow.")
    ends = np.unique(time[status != OPEN])
    at_risk = number_at_risk(time, ends)
    if len(ends) == 0:
        return Curve(ends, at_risk, ends, ends, ends, ends)
    z = float(stats.norm.ppf(0.5 + level / 2))
    if not (status == COMPETING).any():
        survival = SurvfuncRight(time, (status == ENDED).astype(float))
        low, high = _log_log(survival.surv_prob, survival.surv_prob_se, z)
        return Curve(ends, at_risk, 1 - survival.surv_prob, 1 - high, 1 - low, np.zeros(len(ends)))
    # Where the last row ends, statsmodels' variance is 0 / 0: the curve stands and the interval does not.
    with np.errstate(divide="ignore", invalid="ignore"):
        both = CumIncidenceRight(time, status)
    here = np.isin(both.times, ends)
    incidence, error = both.cinc[0][here], both.cinc_se[0][here]
    low, high = _log_log(incidence, error, z)
    return Curve(ends, at_risk, incidence, low, high, both.cinc[1][here])


def number_at_risk(time: Array, at: Array) -> NDArray[np.int64]:
    """How many rows had not ended or been censored before each time of `at`."""
    return (len(time) - np.searchsorted(np.sort(time), at, side="left")).astype(np.int64)


def _log_log(share: Array, error: Array, z: float) -> tuple[Array, Array]:
    """Ends of the interval of a share on the scale log(-log(share)); a share of 0 or 1 has none."""
    with np.errstate(divide="ignore", invalid="ignore"):
        factor = np.exp(z * error / (share * np.abs(np.log(share))))
        low, high = share**factor, share ** (1 / factor)
    inside = (share > 0) & (share < 1) & np.isfinite(error)
    return np.where(inside, low, np.nan), np.where(inside, high, np.nan)


def log_rank(time: Array, ended: NDArray[np.bool_], group: NDArray[np.generic]) -> LogRank:
    """Log-rank test that all groups end at the same rate.

    time: shape (n,); ended: whether the row ended (all else counts as censored, so that with a competing end this compares
    cause-specific rates); group: labels, shape (n,). Raises NotEstimableError for fewer than two groups, or where nothing ended
    while two groups were at risk. Source: Mantel 1966, Cancer Chemother Rep 50:163; chi-square by statsmodels' survdiff.
    """
    labels, own = np.unique(group, return_inverse=True)
    if len(labels) < 2:
        raise NotEstimableError("No comparison: it needs at least two groups.")
    # A row is at risk at its own time: rows by time and group, summed from the last time back.
    times, at = np.unique(time, return_inverse=True)
    shape = (len(times), len(labels))
    cell = at * len(labels) + own
    risk = np.bincount(cell, minlength=times.size * labels.size).reshape(shape)[::-1].cumsum(axis=0)[::-1]
    d = np.bincount(cell[ended], minlength=times.size * labels.size).reshape(shape)
    some = d.sum(axis=1) > 0
    risk, d = risk[some], d[some]
    observed, n, n_ended = d.sum(axis=0).astype(float), risk.sum(axis=1), d.sum(axis=1)
    expected = (n_ended[:, None] * risk / n[:, None]).sum(axis=0)
    shared = bool((((risk > 0).sum(axis=1) > 1) & (n_ended < n)).any())
    if not shared:
        raise NotEstimableError("No comparison: no fit ended while another group could still end.")
    chi_square, p_value = survdiff(time, ended.astype(float), own)
    return LogRank(
        tuple(str(label) for label in labels), observed, expected, float(chi_square), len(labels) - 1, float(p_value)
    )

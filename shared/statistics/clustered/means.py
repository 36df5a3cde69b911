"""Means and shares whose rows come in clusters: two knees of one rider, several visits of one rider."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri, stdtr, stdtrit

from shared.errors import TooFewError
from shared.statistics.wording import counted


@dataclass(frozen=True)
class Estimate:
    """A figure with its interval; `n_effective` is the number of independent rows that would be as informative.

    p_value: of zero, two-sided; None of a share, of which zero is no question.
    """

    estimate: float
    low: float
    high: float
    n: int
    n_clusters: int
    n_effective: float
    p_value: float | None = None


def _mean_and_variance(values: NDArray[np.float64], cluster: NDArray[np.int64]) -> tuple[float, float, int]:
    """The mean, its variance by sums of residuals in each cluster (CR1), and the number of clusters."""
    codes = small_codes(cluster)
    rows = np.bincount(codes)
    n_clusters = int(np.count_nonzero(rows))
    if n_clusters < 2:
        raise TooFewError(f"Not enough yet: {counted(n_clusters, 'rider')}, and an interval needs at least 2.")
    mean = float(values.mean())
    sums = np.bincount(codes, weights=values - mean)
    variance = float(sums @ sums) / len(values) ** 2 * n_clusters / (n_clusters - 1)
    return mean, variance, n_clusters


def small_codes(cluster: NDArray[np.int64]) -> NDArray[np.int64]:
    """Codes (n,) that may be counted through: those given where they are, which saves sorting a million rows."""
    if len(cluster) and cluster.min() >= 0 and cluster.max() < 4 * len(cluster) + 1000:
        return cluster
    return np.asarray(np.unique(cluster, return_inverse=True)[1])


def clustered_mean(values: NDArray[np.float64], cluster: NDArray[np.int64], level: float) -> Estimate:
    """The mean of `values`, shape (n,), with a t interval on clusters - 1 degrees of freedom.

    cluster: integer codes, shape (n,); level between 0 and 1. The interval is in the unit of `values`.
    Raises TooFewError for fewer than two clusters. Not for shares: near 0 or 1 the interval leaves the range.
    Source: Liang & Zeger 1986, Biometrika 73:13, with the G/(G-1) correction.
    """
    mean, variance, n_clusters = _mean_and_variance(values, cluster)
    half = float(stdtrit(n_clusters - 1, 0.5 + level / 2)) * variance**0.5
    spread = float(values.var(ddof=1)) if len(values) > 1 else 0.0
    n_effective = spread / variance if variance > 0 else float(len(values))
    p_value = float(2 * stdtr(n_clusters - 1, -abs(mean) / variance**0.5)) if variance > 0 else float(mean == 0)
    return Estimate(mean, mean - half, mean + half, len(values), n_clusters, n_effective, p_value)


def clustered_share(events: NDArray[np.float64], cluster: NDArray[np.int64], level: float) -> Estimate:
    """The share of `events` (0 or 1, shape (n,)) with Wilson's interval on the effective number of rows.

    The effective number is n divided by the design effect, never more than n: with one row a cluster the interval is
    Wilson's own. Raises TooFewError for fewer than two clusters.
    Source: Wilson 1927, J Am Stat Assoc 22:209; effective number after Korn & Graubard 1998, Surv Methodol 24:193.
    """
    share, variance, n_clusters = _mean_and_variance(events, cluster)
    n = len(events)
    binomial = share * (1 - share) / n
    n_effective = min(float(n), n * binomial / variance) if variance > 0 and binomial > 0 else float(n_clusters)
    if n_clusters == n:
        n_effective = float(n)
    z = float(ndtri(0.5 + level / 2))
    centre = (share + z * z / (2 * n_effective)) / (1 + z * z / n_effective)
    half = z / (1 + z * z / n_effective) * (share * (1 - share) / n_effective + z * z / (4 * n_effective**2)) ** 0.5
    return Estimate(share, max(0.0, centre - half), min(1.0, centre + half), n, n_clusters, n_effective)


def design_effect(values: NDArray[np.float64], cluster: NDArray[np.int64]) -> float:
    """How many times the variance of the mean of `values` (n,) is what it were if no two rows were of one cluster.

    1 at least, and 1 where there are too few clusters to say. cluster: integer codes, (n,). Source: Kish 1965, Survey Sampling
    (from memory).
    """
    try:
        _, variance, _ = _mean_and_variance(values, cluster)
    except TooFewError:
        return 1.0
    spread = float(values.var(ddof=1))
    return max(1.0, len(values) * variance / spread) if spread > 0 else 1.0

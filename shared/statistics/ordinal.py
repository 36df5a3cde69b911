"""Paired ratings: does a score move, and for how many people is it better, the same or worse?"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats
from scipy.special import ndtr

from shared.errors import TooFewError
from shared.statistics.clustered.means import Estimate, clustered_mean, clustered_share, small_codes

# With fewer riders whose score moved, no arrangement of signs reaches p = 0.05: 2 / 2**5 = 0.0625.
_FEWEST_MOVED = 6
# Whole sizes up to this one are ranked by counting them, others by sorting.
_LARGEST_COUNTED = 1000


@dataclass(frozen=True)
class PairedRatings:
    """Change of a score in points, later less earlier; shares of pairs better, the same and worse."""

    median: float
    mean: Estimate
    better: Estimate
    same: Estimate
    worse: Estimate
    p_value: float | None


def paired_ratings(
    change: NDArray[np.float64], cluster: NDArray[np.int64], level: float, *, more_is_better: bool
) -> PairedRatings:
    """Summary of `change`, shape (n,), in points; cluster: integer codes of the riders, shape (n,).

    Shares carry Wilson's interval on the effective number. `p_value` is None where too few riders' scores moved.
    Raises TooFewError for fewer than two riders.
    """
    gain = change if more_is_better else -change
    cluster = small_codes(cluster)
    better, same, worse = (clustered_share(chosen.astype(float), cluster, level) for chosen in (gain > 0, gain == 0, gain < 0))
    try:
        p_value: float | None = signed_rank(change, cluster)
    except TooFewError:
        p_value = None
    mean = clustered_mean(change, cluster, level)
    return PairedRatings(float(np.median(change)), mean, better, same, worse, p_value)


def signed_rank(change: NDArray[np.float64], cluster: NDArray[np.int64]) -> float:
    """Two-sided p-value of the signed-rank test with Pratt's zeros, by signs that riders share.

    change: (n,), only the order of sizes is used; cluster: integer codes of the riders, (n,). Zeros are ranked with the rest
    and then left out. The signed ranks are summed by rider and compared with the spread that they would have if each rider's
    sum were as likely positive as negative (normal approximation, no continuity correction). With one row a rider this is
    Wilcoxon's test with Pratt's zeros. Raises TooFewError for fewer than 6 riders whose score moved.
    Sources: Wilcoxon 1945, Biometrics Bull 1:80; Pratt 1959, J Am Stat Assoc 54:655; Rosner, Glynn & Lee 2006,
    Biometrics 62:185. Not for the size of a change: tell the shares and the mean beside it.
    """
    sums = np.bincount(small_codes(cluster), weights=_ranks(np.abs(change)) * np.sign(change))
    moved = int(np.count_nonzero(sums))
    if moved < _FEWEST_MOVED:
        raise TooFewError(f"Not enough yet: the scores of {moved} riders moved, and a test needs at least {_FEWEST_MOVED}.")
    return float(2 * ndtr(-abs(sums.sum()) / float(sums @ sums) ** 0.5))


def _ranks(sizes: NDArray[np.float64]) -> NDArray[np.float64]:
    """Ranks from 1 of sizes (n,) of 0 or more; equal ones share the mean of their ranks."""
    if not (len(sizes) and sizes.max() <= _LARGEST_COUNTED and np.array_equal(whole := sizes.astype(np.int64), sizes)):
        return np.asarray(stats.rankdata(sizes))
    n = np.bincount(whole)
    ranks: NDArray[np.float64] = (np.cumsum(n) - (n - 1) / 2)[whole]
    return ranks

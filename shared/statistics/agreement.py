"""How much a measurement differs from itself: typical error, smallest real change, limits of agreement."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaincinv, stdtrit

from shared.errors import TooFewError
from shared.statistics.grouping import dense
from shared.statistics.wording import counted


@dataclass(frozen=True)
class RepeatAgreement:
    """All in the unit of the differences; each `_low` and `_high` is the end of an interval. df: of the typical error."""

    n_pairs: int
    typical_error: float
    typical_error_low: float
    typical_error_high: float
    mdc95: float
    mean_difference: float
    mean_difference_low: float
    mean_difference_high: float
    limit_low: float
    limit_high: float
    df: float


# The smallest real change of a knee is so many typical errors.
MDC_FACTOR = 1.96 * 2**0.5


def typical_error(differences: NDArray[np.float64], level: float, rider: NDArray[np.generic] | None = None) -> RepeatAgreement:
    """Agreement of repeat pairs from their differences, shape (n,), later less earlier.

    rider: labels, shape (n,), where one rider may have several pairs: the intervals of the error and of the mean then count
    riders' sums rather than pairs, and nearly hold for heavy-tailed noise as well. Without it pairs are independent and normal.

    Typical error = SD / sqrt(2), with a chi-square interval; MDC95 = 1.96 sqrt(2) typical error; limits of agreement =
    mean +- 1.96 SD. The mean is removed from the SD: a drift is told beside it, not in it. Raises TooFewError for
    fewer than three pairs.
    Sources: Hopkins 2000, Sports Med 30:1; Weir 2005, J Strength Cond Res 19:231; Bland & Altman 1986, Lancet i:307.
    Not for pairs between which something was changed.
    """
    n = len(differences)
    if n < 3:
        raise TooFewError(f"Not enough yet: {counted(n, 'repeat pair')}, and a typical error needs at least 3.")
    mean, sd = float(differences.mean()), float(differences.std(ddof=1))
    error, mean_error, df, mean_df = sd / 2**0.5, sd / n**0.5, n - 1.0, n - 1.0
    if rider is not None and sd > 0:
        mean_error, df, mean_df = _by_rider(differences - mean, sd, rider)
    tail = (1 - level) / 2
    wider, narrower = ((df / _chi_square(q, df)) ** 0.5 for q in (tail, 1 - tail))
    half = float(stdtrit(mean_df, 1 - tail)) * mean_error
    return RepeatAgreement(
        n_pairs=n,
        typical_error=error,
        typical_error_low=error * float(narrower),
        typical_error_high=error * float(wider),
        mdc95=MDC_FACTOR * error,
        mean_difference=mean,
        mean_difference_low=mean - half,
        mean_difference_high=mean + half,
        limit_low=mean - 1.96 * sd,
        limit_high=mean + 1.96 * sd,
        df=df,
    )


def _by_rider(residual: NDArray[np.float64], sd: float, rider: NDArray[np.generic]) -> tuple[float, float, float]:
    """Standard error of the mean, degrees of freedom of the variance and of the mean, from riders' sums (CR1).

    The variance's: 2 sd^4 / var(sd^2), as Satterthwaite has it, never more than n - 1.
    """
    code, labels = dense(rider)
    n, n_riders = len(residual), len(labels)
    if n_riders < 3:
        raise TooFewError(
            f"Not enough yet: repeat pairs of {counted(n_riders, 'rider')}, and a typical error needs 3 at least."
        )
    small = n_riders / (n_riders - 1)
    sums = np.bincount(code, weights=residual)
    squares = np.bincount(code, weights=residual**2 - sd**2)
    of_variance = float(squares @ squares) * small / (n - 1) ** 2
    df = max(1.0, min(n - 1.0, 2 * sd**4 / of_variance))
    return float(sums @ sums * small) ** 0.5 / n, df, n_riders - 1.0


def _chi_square(share: float, df: float) -> float:
    """The quantile of the chi-square distribution, as scipy.stats has it, without its checks of every argument."""
    return 2 * float(gammaincinv(df / 2, share))

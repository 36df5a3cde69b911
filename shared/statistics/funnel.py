"""Funnel limits, overdispersion and shrinkage for comparing fitters with what is expected of them.

Source throughout: Spiegelhalter 2005, Stat Med 24:1185.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from shared.errors import TooFewError
from shared.statistics.wording import counted

Array = NDArray[np.float64]
Winsorising = Literal["interpolated", "counted"]


@dataclass(frozen=True)
class Dispersion:
    """How far the z-scores of `n` units scatter beyond chance.

    phi: mean squared z after winsorising (1 by chance); p_value: of n phi against chi-square on n degrees of freedom;
    tau_squared: variance between the units beyond chance, in the unit of the figure squared; 0 where phi shows none.
    """

    n: int
    phi: float
    p_value: float
    tau_squared: float


@dataclass(frozen=True)
class Shrunken:
    """Differences from the expected drawn toward zero by their precision, shape (n,); `weight` is the part kept (0 to 1)."""

    estimate: Array
    low: Array
    high: Array
    weight: Array


def binomial_limit(share: float, n: NDArray[np.int64], tail: Array) -> Array:
    """The funnel limits of a share: exact binomial, interpolated between whole counts, within 0 and 1.

    share: expected, between 0 and 1; n: rows, 1 or more; tail: probabilities as 0.025 or 0.999; n and tail broadcast, and the
    limits have their shape. With q the smallest count whose cumulative probability F reaches the tail:
    (q - (F(q) - tail) / (F(q) - F(q - 1))) / n. Raises TooFewError for n below 1. Source: the paper's appendix.
    """
    if np.min(n) < 1:
        raise TooFewError("Not enough yet: no fits.")
    q = stats.binom.ppf(tail, n, share)
    upper, lower = stats.binom.cdf(q, n, share), stats.binom.cdf(q - 1, n, share)
    return np.asarray(np.maximum((q - (upper - tail) / (upper - lower)) / n, 0.0))


def winsorised(z: Array, share: float, rule: Winsorising) -> Array:
    """`z` with its lowest and highest `share` pulled in.

    interpolated: to the quantiles at `share` and 1 - `share`, linear between the values. counted: the floor(share n) lowest
    become the next one, and the highest likewise; with few units that may be none.
    """
    if rule == "interpolated":
        return np.clip(z, np.quantile(z, share), np.quantile(z, 1 - share))
    k, ordered = int(share * len(z)), np.sort(z)
    return np.clip(z, ordered[k], ordered[len(z) - 1 - k])


def dispersion(z: Array, standard_error: Array, share: float, rule: Winsorising) -> Dispersion:
    """Overdispersion of the z-scores (n,) of units with these standard errors (n,).

    tau_squared by moments: (n phi - (n - 1)) / (sum w - sum w^2 / sum w), w = 1 / standard_error^2, no less than 0.
    Raises TooFewError for fewer than three units. With a handful of units phi is rough. Source: the paper's appendix.
    """
    n = len(z)
    if n < 3:
        raise TooFewError(f"Not enough yet: {counted(n, 'fitter')} with enough fits, and their scatter needs at least 3.")
    phi = float((winsorised(z, share, rule) ** 2).mean())
    weight = standard_error**-2.0
    spare = float(weight.sum() - (weight**2).sum() / weight.sum())
    return Dispersion(n, phi, float(stats.chi2.sf(n * phi, n)), max(0.0, (n * phi - (n - 1)) / spare))


def shrunken(difference: Array, standard_error: Array, tau_squared: float, level: float) -> Shrunken:
    """Each difference (n,) from the expected, shrunk toward zero: the part kept is tau^2 / (tau^2 + se^2).

    Interval: normal, of the posterior with tau^2 taken as known; a tau^2 of 0 shrinks all the way.
    Source: Morris 1983, J Am Stat Assoc 78:47 (parametric empirical Bayes).
    """
    weight = tau_squared / (tau_squared + standard_error**2)
    half = float(stats.norm.ppf(0.5 + level / 2)) * standard_error * np.sqrt(weight)
    return Shrunken(weight * difference, weight * difference - half, weight * difference + half, weight)

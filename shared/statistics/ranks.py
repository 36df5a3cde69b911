"""Rank correlation of two columns, and how far below zero it lies."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats

Floats = NDArray[np.float64]
# Of the z-transformed rank correlation (Fieller, Hartley & Pearson 1957, Biometrika 44:470).
_VARIANCE = 1.06


@dataclass(frozen=True)
class RankCorrelation:
    """Spearman's rho of `n` pairs; p_below and p_above: one-sided, of a correlation of zero against one below or above it."""

    rho: float
    n: int
    p_below: float
    p_above: float


def rank_correlation(first: Floats, second: Floats, least: int) -> RankCorrelation | None:
    """Spearman's rho of the pairs in which both are known; None with fewer than `least`, or where one never differs."""
    known = np.isfinite(first) & np.isfinite(second)
    first, second = first[known], second[known]
    n = len(first)
    if n < max(least, 5) or np.ptp(first) <= 0 or np.ptp(second) <= 0:
        return None
    rho = float(np.corrcoef(stats.rankdata(first), stats.rankdata(second))[0, 1])
    z = float(np.arctanh(np.clip(rho, -0.999999, 0.999999)) * np.sqrt((n - 3) / _VARIANCE))
    return RankCorrelation(rho, n, float(stats.norm.cdf(z)), float(stats.norm.sf(z)))

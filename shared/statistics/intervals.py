"""Estimates by term with t intervals, the common form of both effect models."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtr, stdtrit


def half_width(level: float, df: float) -> float:
    """Half the width of a t interval in standard errors, df degrees of freedom above 0; level: between 0 and 1."""
    # The distribution objects of scipy.stats give the same and take thirty times as long.
    return float(stdtrit(df, 0.5 + level / 2))


def two_sided(ratio: float, df: float) -> float:
    """The two-sided p-value of an estimate over its standard error, df degrees of freedom above 0."""
    return float(2 * stdtr(df, -abs(ratio)))


@dataclass(frozen=True)
class TermEstimate:
    """One term: estimate, interval, standard error, degrees of freedom and two-sided p-value against zero."""

    estimate: float
    low: float
    high: float
    standard_error: float
    df: float
    p_value: float


def t_intervals(
    terms: tuple[str, ...],
    estimate: NDArray[np.float64],
    covariance: NDArray[np.float64],
    df: NDArray[np.float64],
    level: float,
) -> dict[str, TermEstimate]:
    """Each term's estimate (p,) with its t interval from covariance (p, p) and degrees of freedom (p,).

    level: between 0 and 1. A term with no degrees of freedom rests on one rider alone: its interval is boundless, p = 1.
    Below 4 degrees of freedom the p-value is rough (Pustejovsky & Tipton 2018, J Bus Econ Stat 36:672).
    """
    known = df > 0
    errors = np.where(known, np.sqrt(np.diag(covariance)), np.inf)
    usable = np.where(known, df, 1.0)
    half = stdtrit(usable, 0.5 + level / 2) * errors
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.where(errors > 0, np.abs(estimate) / errors, np.where(estimate == 0, 0.0, np.inf))
    p_values = 2 * stdtr(usable, -ratio)
    return {
        term: TermEstimate(*(float(value) for value in values))
        for term, *values in zip(terms, estimate, estimate - half, estimate + half, errors, df, p_values, strict=True)
    }


def sum_of_terms(
    places: list[int],
    estimate: NDArray[np.float64],
    covariance: NDArray[np.float64],
    df: NDArray[np.float64],
    level: float,
) -> TermEstimate:
    """The sum of the terms at `places` with its t interval, on the smallest of their degrees of freedom; as t_intervals."""
    total = estimate[places].sum(keepdims=True)
    variance = covariance[np.ix_(places, places)].sum(keepdims=True)
    return t_intervals(("sum",), total, variance, df[places].min(keepdims=True), level)["sum"]

"""The bracket between two estimates that fail in opposite ways."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import stats

from shared.statistics.intervals import TermEstimate
from shared.statistics.mixed.answers import MixedFit, WithinFit


@dataclass(frozen=True)
class Bracket:
    """From the lower to the higher end of both intervals; `disagree` where they differ by more than their joint noise.

    difference: pooled less within, in the outcome's unit per unit of the term, with its standard error and p-value; reach:
    half the width of its interval, which is how far apart the two may be with no disagreement found.
    """

    low: float
    high: float
    disagree: bool
    p_value: float
    difference: float
    difference_se: float
    reach: float


def places_among(pooled: MixedFit, within: WithinFit) -> NDArray[np.intp]:
    """Where each rider of the within-knee fit stands among the pooled fit's, -1 for none."""
    return np.asarray(pd.Index(pooled.riders).get_indexer(pd.Index(within.riders)))


def difference_error(pooled: MixedFit, within: WithinFit, term: str, place: NDArray[np.intp] | None = None) -> float:
    """Standard error of pooled less within for one term, from what each rider adds to both.

    Both are linear in the same riders' scores, so their covariance needs no assumption: a rider's two contributions are
    subtracted before they are squared. Riders without a knee recorded twice add to the pooled estimate only.
    place: as `places_among` gives it, for who asks for several terms.
    """
    added = pooled.influence[:, pooled.terms.index(term)].copy()
    other = within.influence[:, within.terms.index(term)]
    place = places_among(pooled, within) if place is None else place
    known = place >= 0
    added[place[known]] -= other[known]
    return float(np.sqrt(added @ added + other[~known] @ other[~known]))


def bracket(pooled: TermEstimate, within: TermEstimate, level: float, difference_se: float | None = None) -> Bracket:
    """The bracket of one term; difference_se as `difference_error` gives it.

    Without it the joint noise is the root of the sum of both squared standard errors. The two estimates share data and are
    positively correlated, so that is more than the true noise of their difference: a disagreement is then told seldom rather
    than often. Degrees of freedom: the smaller of the two. level: between 0 and 1.
    Source: Ding & Li 2019, Political Analysis 27:605 (bracketing).
    """
    if difference_se is None:
        difference_se = float(np.hypot(pooled.standard_error, within.standard_error))
    difference = pooled.estimate - within.estimate
    df = min(pooled.df, within.df)
    if df > 0 and difference_se > 0:
        p_value = float(2 * stats.t.sf(abs(difference) / difference_se, df))
    else:
        p_value = float(df <= 0 or difference == 0)
    reach = float(stats.t.ppf(0.5 + level / 2, df)) * difference_se if df > 0 else float("inf")
    return Bracket(
        low=min(pooled.low, within.low),
        high=max(pooled.high, within.high),
        disagree=p_value < 1 - level,
        p_value=p_value,
        difference=difference,
        difference_se=difference_se,
        reach=reach,
    )


def bracket_of(pooled: MixedFit, within: WithinFit, term: str, level: float) -> Bracket:
    """The bracket of one term from both fits, with the joint noise that they share."""
    error = difference_error(pooled, within, term)
    return bracket(pooled.table(level)[term], within.table(level)[term], level, error)

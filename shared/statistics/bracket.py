"""The bracket between two estimates that fail in opposite ways."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from shared.statistics.intervals import TermEstimate, half_width, two_sided
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


def difference_errors(pooled: MixedFit, within: WithinFit, terms: Sequence[str]) -> dict[str, float]:
    """Standard error of pooled less within for each of some terms of both fits, from what each rider adds to both.

    Both are linear in the same riders' scores, so their covariance needs no assumption: a rider's two contributions are
    subtracted before they are squared. Riders without a knee recorded twice add to the pooled estimate only.
    """
    place = pd.Index(pooled.riders).get_indexer(pd.Index(within.riders))
    # Of all terms at once: a single one's numbers lie far apart.
    added = pooled.influence[:, [pooled.terms.index(term) for term in terms]]
    other = within.influence[:, [within.terms.index(term) for term in terms]]
    known = place >= 0
    added[place[known]] -= other[known]
    squares = np.einsum("gt,gt->t", added, added) + np.einsum("gt,gt->t", other[~known], other[~known])
    return dict(zip(terms, np.sqrt(squares).tolist(), strict=True))


def bracket(pooled: TermEstimate, within: TermEstimate, level: float, difference_se: float | None = None) -> Bracket:
    """The bracket of one term; difference_se as `difference_errors` gives it.

    Without it the joint noise is the root of the sum of both squared standard errors. The two estimates share data and are
    positively correlated, so that is more than the true noise of their difference: a disagreement is then told seldom rather
    than often. Degrees of freedom: the smaller of the two. level: between 0 and 1.
    Source: Ding & Li 2019, Political Analysis 27:605 (bracketing).
    """
    if difference_se is None:
        difference_se = float(np.hypot(pooled.standard_error, within.standard_error))
    difference = pooled.estimate - within.estimate
    df = min(pooled.df, within.df)
    known = df > 0 and difference_se > 0
    p_value = two_sided(difference / difference_se, df) if known else float(df <= 0 or difference == 0)
    reach = half_width(level, df) * difference_se if df > 0 else float("inf")
    return Bracket(
        low=min(pooled.low, within.low),
        high=max(pooled.high, within.high),
        disagree=p_value < 1 - level,
        p_value=p_value,
        difference=difference,
        difference_se=difference_se,
        reach=reach,
    )

"""The difference of a mean between two groups of rows, held for a starting value."""

import numpy as np
from numpy.typing import NDArray

from shared.errors import NotEstimableError, TooFewError
from shared.statistics.clustered.cr2 import cr2_of_rows
from shared.statistics.estimability import ties
from shared.statistics.grouping import dense
from shared.statistics.intervals import TermEstimate, t_intervals
from shared.statistics.wording import counted

_FEWEST_RIDERS = 10


def adjusted_difference(
    outcome: NDArray[np.float64],
    in_group: NDArray[np.bool_],
    others: NDArray[np.float64],
    cluster: NDArray[np.generic],
    level: float,
) -> TermEstimate:
    """Mean outcome in the group less outside of it, held for `others`, by least squares.

    outcome, in_group: (n,); others: (n, p), such as the value at the start, p may be 0; cluster: codes or labels of the
    riders, (n,). Covariance CR2 by rider with Satterthwaite degrees of freedom; with one row a rider and no others the
    standard error is Welch's. The estimate is in the unit of the outcome.
    Raises TooFewError for fewer than ten riders, NotEstimableError where one of the groups is empty, tied to the others, or
    rests on one rider alone.
    Sources: Vickers & Altman 2001, BMJ 323:1123 (holding for the starting value); Pustejovsky & Tipton 2018, J Bus Econ
    Stat 36:672. Not a proof of a cause: who is in the group was not drawn by lot.
    """
    rider, riders = dense(cluster)
    if len(riders) < _FEWEST_RIDERS:
        raise TooFewError(f"Not enough yet: {counted(len(riders), 'rider')}, and a difference needs at least {_FEWEST_RIDERS}.")
    terms = ("mean", "difference", *(f"other {at}" for at in range(others.shape[1])))
    design = np.column_stack([np.ones(len(outcome)), in_group.astype(float), others])
    if ties(design, terms):
        raise NotEstimableError("No figure: one of the two groups is empty, or it is known from the starting values alone.")
    estimate = np.linalg.lstsq(design, outcome, rcond=None)[0]
    wanted = np.arange(len(terms)) == 1
    clustered = cr2_of_rows(design, outcome - design @ estimate, rider, wanted=wanted)
    if clustered.df[1] == 0:
        raise NotEstimableError("No figure: one of the two groups rests on one rider alone.")
    return t_intervals(terms[1:2], estimate[1:2], clustered.covariance[1:2, 1:2], clustered.df[1:2], level)["difference"]

"""Whether an effect comes late: how much of a change shows only at the capture after the next."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from shared.errors import NotEstimableError, TooFewError
from shared.statistics.clustered.cr2 import cr2_of_rows
from shared.statistics.estimability import ties
from shared.statistics.grouping import dense
from shared.statistics.intervals import t_intervals
from shared.statistics.wording import counted

_FEWEST_RIDERS = 10


@dataclass(frozen=True)
class LateShare:
    """The share of an effect that comes one capture late, with its interval; p_value: of none, against some, one-sided.

    n_pairs: repeats after a change; n_riders: riders who have one.
    """

    share: float
    low: float
    high: float
    p_value: float
    n_pairs: int
    n_riders: int


def late_share(
    difference: NDArray[np.float64],
    changed_by: NDArray[np.float64],
    place: NDArray[np.int64],
    rider: NDArray[np.generic],
    level: float,
) -> LateShare:
    """Least squares of the differences of repeat pairs on what the change just before the first was expected to do.

    difference (n,): later less earlier, of two captures with the same setup; changed_by (n,), in the same unit: what the change
    into that setup does by the models, 0 where nothing was changed; place (n,): of the pair in its session, each with a mean
    of its own, so that a drift is no late effect; rider (n,): labels, for CR2 with Satterthwaite degrees of freedom. If a share
    s of an effect comes a capture late, the mean difference is s times changed_by.
    Raises TooFewError for fewer than ten riders with a repeat after a change, NotEstimableError where those cannot be told from
    the place. Source: CR2 as in Pustejovsky & Tipton 2018, J Bus Econ Stat 36:672; the regression is our own. Not for effects
    that take longer than one capture: what comes later still is counted to neither.
    """
    changed = changed_by != 0
    n_riders = len(np.unique(rider[changed]))
    if n_riders < _FEWEST_RIDERS:
        raise TooFewError(
            f"Not enough yet: repeats after a change in {counted(n_riders, 'rider')}, and a late effect needs "
            f"{_FEWEST_RIDERS} at least."
        )
    places = np.unique(place)
    terms = ("share", *(f"place {at}" for at in places))
    design = np.column_stack([changed_by, *(place == at for at in places)]).astype(float)
    if ties(design, terms):
        raise NotEstimableError("No figure: repeats after a change cannot be told from the order of the captures.")
    estimate = np.linalg.lstsq(design, difference, rcond=None)[0]
    wanted = np.arange(len(terms)) == 0
    found = cr2_of_rows(design, difference - design @ estimate, dense(rider)[0], wanted=wanted)
    if found.df[0] <= 0:
        raise NotEstimableError("No figure: the repeats after a change rest on one rider alone.")
    told = t_intervals(terms[:1], estimate[:1], found.covariance[:1, :1], found.df[:1], level)["share"]
    one_sided = float(stats.t.sf(told.estimate / told.standard_error, told.df)) if told.standard_error > 0 else 1.0
    return LateShare(told.estimate, told.low, told.high, one_sided, int(changed.sum()), n_riders)

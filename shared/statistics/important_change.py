"""From how many points on a change matters to those who were asked: the minimal important change of a rating."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit, stdtrit
from statsmodels.discrete.discrete_model import Logit

from shared.errors import NotEstimableError, TooFewError
from shared.statistics.grouping import dense
from shared.statistics.wording import counted

Array = NDArray[np.float64]

# The adjustment for the share improved: (0.090 + 0.103 correlation) times the spread of the changes times the log odds.
_ADJUSTED, _BY_CORRELATION = 0.090, 0.103
# How reliable what riders say is at least taken to be: the interval reaches as far as the adjustment would then go.
_LEAST_RELIABILITY = 0.7


@dataclass(frozen=True)
class Needed:
    """Below what nothing is estimated: riders, riders who found it better and who did not, and the correlation of both."""

    riders: int
    riders_each: int
    correlation: float


@dataclass(frozen=True)
class ImportantChange:
    """points, with its interval: the minimal important change, adjusted for the share improved; unadjusted_points: before that;
    share: who found it better; correlation: of the change with finding it better."""

    points: float
    low: float
    high: float
    unadjusted_points: float
    share: float
    correlation: float
    n_riders: int


def minimal_important_change(
    change: Array, is_better: NDArray[np.bool_], rider: NDArray[np.generic], level: float, needed: Needed
) -> ImportantChange:
    """The change (n,), more is better, that is as likely among those who found it better as among the others.

    is_better (n,): what riders said when asked; rider (n,): labels, since one rider may have several changes. Logistic
    regression of is_better on the change; where its log odds are those of all, adjusted for the share of those better. The
    interval: delta method on all that goes in, its terms summed by rider, t on riders - 1; and to the side to which the share
    pulls as far as with answers of reliability 0.7, since the adjustment takes them to be nearly exact.
    Raises TooFewError below `needed`; NotEstimableError where change and words go together too loosely, where the two groups do
    not overlap, where the limit lies beyond the changes seen, and where it cannot be told from none.
    Sources: Terluin et al. 2015, J Clin Epidemiol 68:1388; Terluin, Eekhout & Terwee 2017, J Clin Epidemiol 83:90, and 2022,
    148:48 (the adjustment by reliability).
    """
    code, labels = dense(rider)
    _require_enough(is_better, code, len(labels), needed)
    if np.ptp(change) == 0:
        raise NotEstimableError("Cannot be told, since every change is the same.")
    y = is_better.astype(float)
    correlation = float(np.corrcoef(change, y)[0, 1])
    if correlation < needed.correlation:
        raise NotEstimableError(
            f"Cannot be told, since what riders say goes with the change too loosely (correlation {correlation:.2f}, and "
            f"{needed.correlation:g} is needed)."
        )
    if change[is_better].min() >= change[~is_better].max():
        raise NotEstimableError(
            "Cannot be told, since the changes of those who found it better and of the others do not overlap: any limit "
            "between them would do."
        )
    unadjusted, points, parts = _estimated(change, y, correlation)
    sums = np.bincount(code, weights=parts)
    n_riders = len(labels)
    error = float(sums @ sums * n_riders / (n_riders - 1)) ** 0.5 / len(y)
    half = float(stdtrit(n_riders - 1, 0.5 + level / 2)) * error
    low, high = sorted((points, points + _further(change, y, correlation)))
    found = ImportantChange(points, low - half, high + half, unadjusted, float(y.mean()), correlation, n_riders)
    _require_within(found, change)
    return found


def _estimated(change: Array, y: Array, correlation: float) -> tuple[float, float, Array]:
    """The limit before and after the adjustment, and what each row adds to the error of the latter (n,)."""
    design = np.column_stack([np.ones_like(change), change])
    fit = Logit(y, design, check_rank=False).fit(method="newton", disp=0, warn_convergence=False)
    intercept, slope = (float(value) for value in fit.params)
    chance, share, n = expit(design @ fit.params), float(y.mean()), len(y)
    log_odds = float(np.log(share / (1 - share)))
    spread = float(change.std())
    unadjusted = (log_odds - intercept) / slope
    factor = _ADJUSTED + _BY_CORRELATION * correlation
    information = (design * (chance * (1 - chance))[:, None]).T @ design / n
    of_intercept, of_slope = np.linalg.solve(information, (design * (y - chance)[:, None]).T)
    of_odds = (y - share) / (share * (1 - share))
    standard, standard_y = (change - change.mean()) / spread, (y - share) / (share * (1 - share)) ** 0.5
    of_spread = spread * (standard**2 - 1) / 2
    of_correlation = standard * standard_y - correlation * (standard**2 + standard_y**2) / 2
    of_unadjusted = (of_odds - of_intercept - unadjusted * of_slope) / slope
    of_adjustment = (_BY_CORRELATION * of_correlation * spread + factor * of_spread) * log_odds + factor * spread * of_odds
    return unadjusted, unadjusted - factor * spread * log_odds, of_unadjusted - of_adjustment


def _further(change: Array, y: Array, correlation: float) -> float:
    """How much further the adjustment would go if what riders say were of the least reliability."""
    share = float(y.mean())
    beyond = (0.8 / _LEAST_RELIABILITY - 0.5) * correlation - (_ADJUSTED + _BY_CORRELATION * correlation)
    return -max(beyond, 0.0) * float(change.std()) * float(np.log(share / (1 - share)))


def _require_enough(is_better: NDArray[np.bool_], code: NDArray[np.int64], n_riders: int, needed: Needed) -> None:
    if n_riders < needed.riders:
        raise TooFewError(
            f"Not enough yet: {counted(n_riders, 'rider')} rated again and asked how much better it is, and {needed.riders} "
            "are needed."
        )
    n_better, n_others = (len(np.unique(code[chosen])) for chosen in (is_better, ~is_better))
    if min(n_better, n_others) < needed.riders_each:
        raise TooFewError(
            f"Not enough yet: {counted(n_better, 'rider')} found it better and {n_others:,} did not, and "
            f"{needed.riders_each} of each are needed."
        )


def _require_within(found: ImportantChange, change: Array) -> None:
    ends = f"{found.points:.1f} points ({found.low:.1f} to {found.high:.1f})"
    if found.low <= 0:
        raise NotEstimableError(f"Cannot be told, since the limit, {ends}, is not told apart from no change at all.")
    if found.high > change.max():
        raise NotEstimableError(f"Cannot be told, since the limit, {ends}, reaches beyond the largest change seen.")

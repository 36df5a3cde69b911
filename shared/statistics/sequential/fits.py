"""The sequential estimate: effects from changes as foreseen before the capture that they were decided by."""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from shared.errors import NotEstimableError, TooFewError
from shared.statistics.cross_products import cross_product
from shared.statistics.grouping import dense
from shared.statistics.intervals import TermEstimate, t_intervals
from shared.statistics.sequential.deviations import deviations, stacks
from shared.statistics.sequential.gmm import group_sums, over_identification, persistence
from shared.statistics.sequential.instruments import foreseen
from shared.statistics.wording import counted

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# Below so many riders there is nothing to learn a first stage from, in five turns.
_FEWEST_RIDERS = 20
# How often the leave-one-out of all riders at once is carried on, and what is left of it where it is done.
_ROUNDS, _REST = 8, 1e-7


@dataclass(frozen=True)
class Sessions:
    """Cells (a knee in one session) sorted by rider, their captures in order.

    n (cells,): captures; rider (cells,): labels; rows (captures, p + 1): supports first, then the terms of the capture order,
    the outcome last; supports: how many; known (cells, k): what the exam recorded, with an intercept.
    """

    n: Ints
    rider: NDArray[np.generic]
    rows: Floats
    supports: int
    known: Floats


@dataclass(frozen=True)
class SequentialFit:
    """terms (p); estimate (p,), covariance (p, p) clustered by rider, df (p,).

    strength (supports,): first-stage F of each support, held for the others; j_p_value: that what the setup and exam foresee
    and what earlier outcomes foresee tell the same effects; m2, m2_p_value: noise that persists from capture to capture, 1
    where no session is long enough; influence (riders, p): what each of `riders` adds to the error of each term.
    """

    terms: tuple[str, ...]
    estimate: Floats
    covariance: Floats
    df: Floats
    strength: Floats
    j_p_value: float
    m2: float
    m2_p_value: float
    n_rows: int
    n_riders: int
    riders: NDArray[np.generic] = field(repr=False)
    influence: Floats = field(repr=False)

    def table(self, level: float) -> dict[str, TermEstimate]:
        """Each term's estimate with its t interval at `level`."""
        return t_intervals(self.terms, self.estimate, self.covariance, self.df, level)


def fit_sequential(sessions: Sessions, terms: tuple[str, ...]) -> SequentialFit:
    """Two-stage least squares on forward orthogonal deviations, one fitted instrument a support, the capture order its own.

    terms (p): names of the columns. Covariance: each rider left out in turn, on the degrees of freedom of the riders' shares.
    Asks only that the noise of one capture does not reach the next. Raises TooFewError for fewer than 20 riders with a knee
    captured twice, NotEstimableError where the foreseen changes do not tell the terms apart.
    Sources: Arellano & Bover 1995, J Econometrics 68:29; cross-fitted first stage: Chernozhukov et al. 2018, Econometrics J
    21:C1. Not for effects that come late, nor for noise that persists.
    """
    supports = sessions.supports
    found = deviations(sessions.rows, sessions.n)
    rider, labels = dense(sessions.rider[found.cell])
    if len(labels) < _FEWEST_RIDERS:
        raise TooFewError(
            f"Not enough yet: {counted(len(labels), 'rider')} with a knee recorded twice; it takes {_FEWEST_RIDERS}."
        )
    x, y = np.ascontiguousarray(found.values[:, :-1]), found.values[:, -1]
    told = foreseen(found, supports, sessions.known, rider)
    z = np.column_stack([told.by_all, x[:, supports:]])
    try:
        inverse = np.asarray(np.linalg.inv(cross_product(z, x)))
    except np.linalg.LinAlgError as fault:
        raise NotEstimableError("No figure: what was known foresees no change of these supports apart.") from fault
    estimate = inverse @ (z.T @ y)
    residual = y - x @ estimate
    influence = _left_out(x, z, residual, inverse, rider)
    covariance = cross_product(influence, influence)
    shares = group_sums((z @ inverse.T) ** 2, rider)
    try:
        j_p_value = over_identification(x, np.column_stack([z, told.by_setup]), y, rider)
    except np.linalg.LinAlgError:
        j_p_value = 1.0
    of_cell = np.full(len(sessions.n), -1)
    of_cell[found.cell] = rider
    m2, m2_p_value = _persistence(sessions, estimate, influence, covariance, of_cell)
    return SequentialFit(
        terms, estimate, covariance, shares.sum(axis=0) ** 2 / (shares**2).sum(axis=0),
        strengths(x[:, :supports], told.by_all, x[:, supports:], rider), j_p_value, m2, m2_p_value,
        len(y), len(labels), labels, influence,
    )  # fmt: skip


def _left_out(x: Floats, z: Floats, residual: Floats, inverse: Floats, rider: Ints) -> Floats:
    """By how much each rider's rows move the estimate: all less what it is without that rider, (riders, p).

    (A - A_g)^-1 s_g, A_g = Z_g'X_g, by the series of (1 - A^-1 A_g)^-1 for all riders at once; who carries too much for it is
    left out by a solution of their own. Source: the jackknife, MacKinnon & White 1985, J Econometrics 29:305, by rider.
    """
    first = group_sums(z * residual[:, None], rider) @ inverse.T
    moved = first
    for _ in range(_ROUNDS):
        along = np.einsum("ij,ij->i", x, moved[rider])
        further = first + group_sums(z * along[:, None], rider) @ inverse.T
        is_open = np.abs(further - moved).max(axis=1) > _REST * np.abs(further).max(axis=1)
        moved = further
        if not is_open.any():
            return moved
    ends = np.searchsorted(rider, np.arange(len(moved) + 1))
    for one in np.flatnonzero(is_open):
        own = slice(ends[one], ends[one + 1])
        share = np.eye(len(inverse)) - inverse @ (z[own].T @ x[own])
        moved[one] = np.linalg.lstsq(share, first[one], rcond=None)[0]
    return moved


def strengths(x: Floats, z: Floats, held: Floats, rider: Ints) -> Floats:
    """The conditional first-stage F of each of several endogenous columns x (m, k) with instruments z (m, q), q >= k, both held
    for the columns of held (m, h); clustered by rider codes (m,), ascending.

    Of each column what the others' foreseen parts do not tell is regressed on the instruments: its Wald statistic, by the
    q - k + 1 restrictions. Source: Sanderson & Windmeijer 2016, J Econometrics 190:212, with a clustered covariance.
    """
    k, q = x.shape[1], z.shape[1]
    if held.shape[1]:
        both = np.column_stack([x, z])
        both = both - held @ np.linalg.lstsq(cross_product(held, held), cross_product(held, both), rcond=None)[0]
        x, z = both[:, :k], both[:, k:]
    zz, zx = cross_product(z, z), cross_product(z, x)
    by_z, found = np.linalg.lstsq(zz, zx, rcond=None)[0], np.zeros(k)
    for term in range(k):
        others = np.arange(k) != term
        projected = zx[:, others].T @ by_z[:, others]
        slopes = np.linalg.lstsq(projected, by_z[:, others].T @ zx[:, term], rcond=None)[0]
        left = x[:, term] - x[:, others] @ slopes
        first_stage = np.linalg.lstsq(zz, z.T @ left, rcond=None)[0]
        scores = group_sums(z * (left - z @ first_stage)[:, None], rider)
        along = zz @ first_stage
        found[term] = float(along @ np.linalg.lstsq(scores.T @ scores, along, rcond=None)[0]) / (q - k + 1)
    return found


def _persistence(
    sessions: Sessions, estimate: Floats, influence: Floats, covariance: Floats, rider: Ints
) -> tuple[float, float]:
    """Arellano and Bond's m2 of the residuals of one capture less those of the one before, two captures apart; rider (cells,):
    codes."""
    products, moved = np.zeros(len(influence)), np.zeros(len(estimate))
    for cells, stack in stacks(sessions.rows, sessions.n, fewest=4):
        step = np.diff(stack, axis=1)
        left = step[:, :, -1] - step[:, :, :-1] @ estimate
        products += np.bincount(rider[cells], (left[:, 2:] * left[:, :-2]).sum(axis=1), len(products))
        moved -= np.einsum("ct,ctp->p", left[:, :-2], step[:, 2:, :-1])
    return persistence(products, moved, influence, covariance)

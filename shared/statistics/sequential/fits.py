"""The sequential estimate: effects from changes as foreseen before the capture that they were decided by."""

from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from shared.errors import NotEstimableError, TooFewError
from shared.statistics.cross_products import cross_product
from shared.statistics.grouping import dense
from shared.statistics.intervals import TermEstimate, t_intervals
from shared.statistics.sequential.deviations import Deviations, blocks, deviations, places
from shared.statistics.sequential.gmm import group_sums, over_identification, persistence
from shared.statistics.sequential.instruments import FOLDS, FirstStage
from shared.statistics.wording import counted

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# Below so many riders there is nothing to learn a first stage from, in five turns.
_FEWEST_RIDERS = 20
# How often the leave-one-out of all riders at once is carried on, and what is left of it where it is done.
_ROUNDS, _REST = 8, 1e-7
# Rows that are made to deviations at a time: with what is known of them they stay in the processor's own memory.
_BLOCK = 16384


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
    where no session is long enough; learnt: as in FirstStage; influence (riders, p): what each of `riders` adds to the error of
    each term.
    """

    terms: tuple[str, ...]
    estimate: Floats
    covariance: Floats
    df: Floats
    strength: Floats
    j_p_value: float
    m2: float
    m2_p_value: float
    learnt: float
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
    made = _columns(sessions)
    x, y, rider = made.x, made.y, made.rider
    z = made.z[:, : x.shape[1]]
    try:
        inverse = np.asarray(np.linalg.inv(cross_product(z, x)))
    except np.linalg.LinAlgError as fault:
        raise NotEstimableError("No figure: what was known foresees no change of these supports apart.") from fault
    estimate = inverse @ (z.T @ y)
    residual = y - x @ estimate
    influence = _left_out(made, residual, inverse)
    covariance = cross_product(influence, influence)
    shares = group_sums(np.square(z @ inverse.T), rider)
    try:
        j_p_value = over_identification(x, made.z, y, rider)
    except np.linalg.LinAlgError:
        j_p_value = 1.0
    m2, m2_p_value = _persistence(sessions, estimate, influence, covariance, made.rider_of_cell)
    return SequentialFit(
        terms, estimate, covariance, shares.sum(axis=0) ** 2 / (shares**2).sum(axis=0),
        strengths(x, made.z, sessions.supports, rider), j_p_value, m2, m2_p_value, made.learnt,
        len(y), len(made.riders), made.riders, influence,
    )  # fmt: skip


@dataclass(frozen=True)
class _Columns:
    """Deviations (m, p) and outcome (m,); instruments (m, p + supports): each support as foreseen from all that was known, the
    capture order itself, each support as foreseen from setup and exam alone, which only the test of over-identification asks.
    rider (m,): codes, of `riders`; rider_of_cell (cells,): -1 where a cell has one capture."""

    x: Floats
    y: Floats
    z: Floats
    rider: Ints
    rider_of_cell: Ints
    riders: NDArray[np.generic]
    learnt: float


def _columns(sessions: Sessions) -> _Columns:
    """Raises TooFewError."""
    n, supports, p = sessions.n, sessions.supports, sessions.rows.shape[1] - 1
    repeated = np.flatnonzero(n > 1)
    codes, riders = dense(sessions.rider[repeated])
    if len(riders) < _FEWEST_RIDERS:
        raise TooFewError(
            f"Not enough yet: {counted(len(riders), 'rider')} with a knee recorded twice; it takes {_FEWEST_RIDERS}."
        )
    of_cell = np.full(len(n), -1)
    of_cell[repeated] = codes
    stage, turn = FirstStage(supports, sessions.known.shape[1]), np.maximum(of_cell, 0) % FOLDS
    known = np.ascontiguousarray(sessions.known)

    # Twice over the blocks: what the rows of many are made to is made again sooner than it is fetched from afar.
    @lru_cache(maxsize=1)
    def deviating(start: int, end: int, first: int, last: int) -> Deviations:
        return deviations(sessions.rows[first:last], n[start:end])

    parts = list(blocks(n, _BLOCK))
    for start, end, first, last in parts:
        stage.learn(deviating(start, end, first, last), known[start:end], turn[start:end])
    m = int(n[repeated].sum()) - len(repeated)
    x, y, z = np.empty((m, p)), np.empty(m), np.empty((m, p + supports))
    done = 0
    for start, end, first, last in parts:
        found = deviating(start, end, first, last)
        here = slice(done, done := done + len(found.place))
        x[here], y[here] = found.values[:, :-1], found.values[:, -1]
        foreseen = stage.foreseen(found, known[start:end], turn[start:end])
        z[here, :supports], z[here, supports:p], z[here, p:] = (
            foreseen[:, :supports], found.values[:, supports:-1], foreseen[:, supports:],
        )  # fmt: skip
    return _Columns(x, y, z, np.repeat(codes, n[repeated] - 1), of_cell, riders, stage.learnt)


def _left_out(made: _Columns, residual: Floats, inverse: Floats) -> Floats:
    """By how much each rider's rows move the estimate: all less what it is without that rider, (riders, p).

    (A - A_g)^-1 s_g, A_g = Z_g'X_g, by the series of (1 - A^-1 A_g)^-1 for all riders at once; who carries too much for it is
    left out by a solution of their own. Source: the jackknife, MacKinnon & White 1985, J Econometrics 29:305, by rider.
    """
    x, z, rider, p = made.x, made.z, made.rider, made.x.shape[1]
    moved = first = group_sums(z, rider, residual)[:, :p] @ inverse.T
    for _ in range(_ROUNDS):
        along = np.einsum("ij,ij->i", x, moved.take(rider, axis=0))
        further = first + group_sums(z, rider, along)[:, :p] @ inverse.T
        is_open = np.abs(further - moved).max(axis=1) > _REST * np.abs(further).max(axis=1)
        moved = further
        if not is_open.any():
            return moved
    ends = np.searchsorted(rider, np.arange(len(moved) + 1))
    for one in np.flatnonzero(is_open):
        own = slice(ends[one], ends[one + 1])
        share = np.eye(len(inverse)) - inverse @ (z[own, :p].T @ x[own])
        moved[one] = np.linalg.lstsq(share, first[one], rcond=None)[0]
    return moved


def strengths(x: Floats, z: Floats, supports: int, rider: Ints) -> Floats:
    """The conditional first-stage F of each of the first `supports` columns of x (m, p) with as many first columns of z (m, p
    or more), all held for the further columns of x, which are those of z too; clustered by rider codes (m,).

    Of each column what the others' foreseen parts do not tell is regressed on the instruments: its Wald statistic. Source:
    Sanderson & Windmeijer 2016, J Econometrics 190:212, with a clustered covariance.
    """
    p = x.shape[1]
    zz, zx = cross_product(z[:, :p], z[:, :p]), cross_product(z[:, :p], x[:, :supports])
    # The columns of z less what those that are held tell of them, which are zero then.
    less = np.eye(p)[:, :supports]
    less[supports:] = -np.linalg.lstsq(zz[supports:, supports:], zz[supports:, :supports], rcond=None)[0]
    zz_less, by_z = less.T @ zz @ less, np.linalg.lstsq(zz, zx, rcond=None)[0]
    left_x, left_z = np.zeros((p, supports)), np.zeros((p, supports))
    for term in range(supports):
        others = np.arange(supports) != term
        projected = (less.T @ zx)[:, others]
        slopes = np.linalg.lstsq(projected.T @ by_z[:supports, others], projected.T @ by_z[:supports, term], rcond=None)[0]
        left_x[term, term], left_x[:supports][others, term] = 1.0, -slopes
        left_z[:, term] = by_z @ left_x[:supports, term]
    # What is left of each column beyond all others and the instruments, times the instruments, by rider.
    beyond, found = x @ left_x - z[:, :p] @ left_z, np.empty(supports)
    for term in range(supports):
        scores = group_sums(z, rider, beyond[:, term])[:, :p] @ less
        along = zz_less @ left_z[:supports, term]
        found[term] = float(along @ np.linalg.lstsq(scores.T @ scores, along, rcond=None)[0])
    return found


def _persistence(
    sessions: Sessions, estimate: Floats, influence: Floats, covariance: Floats, rider: Ints
) -> tuple[float, float]:
    """Arellano and Bond's m2 of the residuals of one capture less those of the one before, two captures apart; rider (cells,):
    codes."""
    cell, place = places(sessions.n)
    residual = sessions.rows @ np.append(-estimate, 1.0)
    step, at = np.diff(residual), np.flatnonzero(place >= 3)
    later, earlier = step.take(at - 1), step.take(at - 3)
    products = np.bincount(rider.take(cell.take(at)), later * earlier, len(influence)).astype(np.float64, copy=False)
    # The sum over captures of the earlier residual times the change of each column.
    by_row = np.zeros(len(residual))
    by_row[at] = earlier
    by_row[at - 1] -= earlier
    return persistence(products, -(by_row @ sessions.rows)[:-1], influence, covariance)

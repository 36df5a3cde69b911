"""Covariances that hold when rows of one rider share noise: CR2 with Satterthwaite degrees of freedom.

All work is on sums over riders. With X, e the design and residuals of a rider whitened by the working covariance, only
information = X'X (p, p) and scores = X'e (p,) are needed. Formulas and deviations: METHODS.md, "Clustered covariance".
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

# One rider's share of the information above which its leverage is taken from eigenvalues rather than from a series.
_SERIES_UP_TO = 0.05
# A leverage this close to 1 means that one rider alone carries a direction: no other rider can tell its noise.
_ALONE = 1 - 1e-8
# A term with more than this share of its variance in such directions has no standard error.
_LOST = 1e-6
_RIDERS_AT_A_TIME = 2000
_ROWS_AT_A_TIME = 20_000


@dataclass(frozen=True)
class Sandwich:
    """influence (riders, p): what each rider adds to the error of each term; covariance (p, p) its cross-product; df (p,).

    A term with df 0 rests, in part or whole, on one rider alone: its covariance is too small and must not be shown.
    """

    influence: Array
    covariance: Array
    df: Array


def rider_sums(design: Array, residual: Array, rider: NDArray[np.int64]) -> tuple[Array, Array]:
    """Information (riders, p, p) and scores (riders, p) of least squares.

    design: (n, p); residual: (n,); rider: integer codes 0 to riders - 1, shape (n,).
    """
    order = np.argsort(rider, kind="stable")
    x, e = design[order], residual[order]
    bounds = np.r_[0, np.cumsum(np.bincount(rider))]
    information = np.stack([x[start:end].T @ x[start:end] for start, end in pairwise(bounds)])
    return information, np.add.reduceat(x * e[:, None], bounds[:-1], axis=0)


def cr1(information: Array, scores: Array) -> Array:
    """Covariance (p, p) with the factor riders / (riders - 1), from rider_sums.

    Source: Liang & Zeger 1986, Biometrika 73:13. Too narrow with few riders, or where few of them carry a term: use cr2.
    """
    bread = np.linalg.inv(information.sum(axis=0))
    influence = scores @ bread
    return np.asarray(influence.T @ influence * len(scores) / (len(scores) - 1))


def cr2(information: Array, scores: Array) -> Sandwich:
    """The bias-reduced covariance and its degrees of freedom, from information (riders, p, p) and scores (riders, p).

    Unbiased where the working covariance is the true one, whatever the number of riders. Raises LinAlgError where the
    information is singular: ask estimability first.
    Source: Bell & McCaffrey 2002, Surv Methodol 28:169; Pustejovsky & Tipton 2018, J Bus Econ Stat 36:672.
    Not for riders that share noise with one another.
    """
    root = root_of(np.linalg.inv(information.sum(axis=0)))
    return cr2_from_parts(_whitened_parts(information, scores, root), root)


def cr2_of_rows(design: Array, residual: Array, rider: NDArray[np.int64], bread: Array | None = None) -> Sandwich:
    """The same from rows, for any number of them: least squares as it is, a mixed model whitened by its fitted covariance.

    design: (n, p); residual: (n,); rider: integer codes 0 to riders - 1, shape (n,), each present, in any order; bread: the
    inverse information (p, p) where it is known. Memory beyond the rows' own: influence, and some riders at a time.
    """
    root = root_of(np.asarray(np.linalg.inv(design.T @ design)) if bread is None else bread)
    order: list[NDArray[np.int64]] = []

    def parts() -> Iterator[tuple[Array, Array]]:
        for riders, rows in stacks_of_riders(rider):
            scaled = (design.take(rows.ravel(), axis=0) @ root).reshape(*rows.shape, len(root))
            order.append(riders)
            yield scaled.transpose(0, 2, 1) @ scaled, (residual[rows][:, None, :] @ scaled)[:, 0]

    found = cr2_from_parts(parts(), root)
    influence = np.empty_like(found.influence)
    influence[np.concatenate(order)] = found.influence
    return replace(found, influence=influence)


def root_of(bread: Array) -> Array:
    """Lower triangular root (p, p) of the inverse information."""
    return np.asarray(np.linalg.cholesky((bread + bread.T) / 2))


def stacks_of_riders(rider: NDArray[np.int64]) -> Iterator[tuple[NDArray[np.int64], NDArray[np.int64]]]:
    """Riders (b,) with equally many rows, and their row numbers (b, rows a rider), some at a time."""
    order = np.argsort(rider, kind="stable")
    sizes = np.bincount(rider)
    first = np.cumsum(sizes) - sizes
    for size in np.unique(sizes):
        riders = np.flatnonzero(sizes == size)
        step = max(1, _ROWS_AT_A_TIME // int(size))
        for start in range(0, len(riders), step):
            here = riders[start : start + step]
            yield here, order[first[here][:, None] + np.arange(size)]


def _whitened_parts(information: Array, scores: Array, root: Array) -> Iterator[tuple[Array, Array]]:
    for start in range(0, len(scores), _RIDERS_AT_A_TIME):
        here = slice(start, start + _RIDERS_AT_A_TIME)
        yield root.T @ information[here] @ root, scores[here] @ root


def cr2_from_parts(parts: Iterable[tuple[Array, Array]], root: Array) -> Sandwich:
    """CR2 from riders in parts, each (share (b, p, p), scores (b, p)) already in the coordinates of `root`.

    `share` is root' information root: the riders' shares of the information, which add up to the identity.
    """
    p = len(root)
    influence: list[Array] = []
    trace, squares, alone, crossed = np.zeros(p), np.zeros(p), np.zeros(p), np.zeros((p, p, p))
    for share, scores in parts:
        size = np.trace(share, axis1=1, axis2=2)
        adjusted = np.empty_like(scores)
        for chosen, method in ((size <= _SERIES_UP_TO, _by_series), (size > _SERIES_UP_TO, _by_eigenvalues)):
            if not chosen.any():
                continue
            adjusted[chosen], own, joint, lost = method(share[chosen], scores[chosen], root)
            alone += lost
            length = np.einsum("bpl,bpl->bl", joint, joint)
            trace += (own - length).sum(axis=0)
            squares += (own**2 - 2 * own * length).sum(axis=0)
            by_term = np.ascontiguousarray(joint.transpose(2, 1, 0))
            crossed += by_term @ by_term.transpose(0, 2, 1)
        influence.append(adjusted @ root.T)
    stacked = np.concatenate(influence)
    spread = squares + (crossed**2).sum(axis=(1, 2))
    unknown = (alone > _LOST * (root**2).sum(axis=1)) | (trace <= 0) | (spread <= 0)
    df = np.where(unknown, 0.0, trace**2 / np.where(unknown, 1.0, spread))
    return Sandwich(stacked, stacked.T @ stacked, df)


def _by_eigenvalues(share: Array, scores: Array, root: Array) -> tuple[Array, Array, Array, Array]:
    """Adjusted scores (b, p), own variance (b, p), what ties riders to one another (b, p, terms), exact.

    Last, (p,): how much of each term's variance lies in directions that one rider carries alone.
    """
    values, vectors = np.linalg.eigh(share)
    values = np.clip(values, 0.0, 1.0)
    rest = np.where(values < _ALONE, 1 - values, np.inf)
    adjusted = vectors @ ((vectors.transpose(0, 2, 1) @ scores[:, :, None]) / np.sqrt(rest)[:, :, None])
    turned = vectors.transpose(0, 2, 1) @ root.T
    own = np.einsum("bp,bpl->bl", values / rest, turned**2)
    joint = vectors @ (turned * (values / np.sqrt(rest))[:, :, None])
    lost = np.einsum("bp,bpl->l", (values >= _ALONE).astype(float), turned**2)
    return adjusted[:, :, 0], own, joint, lost


def _by_series(share: Array, scores: Array, root: Array) -> tuple[Array, Array, Array, Array]:
    """The same for small shares, by powers of the share: (1 - s)^-1/2 = 1 + s/2 + 3 s^2 / 8 + 5 s^3 / 16 + ..."""
    adjusted, power = scores.copy(), scores[:, :, None]
    for factor in (1 / 2, 3 / 8, 5 / 16, 35 / 128):
        power = share @ power
        adjusted += factor * power[:, :, 0]
    first = share @ root.T
    second = share @ first
    third = share @ second
    own = np.einsum("lp,bpl->bl", root, first + second + third)
    return adjusted, own, first + second / 2 + 3 / 8 * third, np.zeros(len(root))

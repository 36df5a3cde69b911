"""Which terms the data can tell apart at all, and which were always changed together."""

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

# Of a column scaled to length one, what is left beyond the others below this share is rounding.
_TOLERANCE = 1e-9
# A weight of a column in a combination that comes to nothing, below which it is no part of it.
_WEIGHT = 1e-6
# Differences from a group's mean below this share of a column's largest value are rounding.
_ROUNDING = 1e-12
_ROWS_AT_A_TIME = 1 << 16
# Above this smallest eigenvalue of scaled cross products there is surely no tie.
_PLAIN = 1e-7


def demeaned(matrix: NDArray[np.float64], group: NDArray[np.int64]) -> NDArray[np.float64]:
    """`matrix` (n, p) less the mean of its row's group; group: integer codes from 0 on, shape (n,); a code may be absent."""
    counts = np.maximum(np.bincount(group), 1).astype(float)  # a code may be absent
    less = np.empty(matrix.shape)
    for index, column in enumerate(matrix.T):
        less[:, index] = column - (np.bincount(group, weights=column) / counts)[group]
        if np.abs(less[:, index]).max(initial=0.0) <= _ROUNDING * np.abs(column).max(initial=0.0):
            less[:, index] = 0.0
    return less


def ties(matrix: NDArray[np.float64], terms: Sequence[str]) -> dict[str, tuple[str, ...]]:
    """The columns of a design (n, p) that are combinations of one another, each with its partners; a column of zeros with none.

    By singular values of the triangular factor, columns scaled to length one: no unit changes the answer.
    Not a measure of how nearly two columns are the same: a wide interval tells that.
    """
    lengths = np.sqrt((matrix**2).sum(axis=0))
    partners_of: dict[str, tuple[str, ...]] = {terms[int(index)]: () for index in np.flatnonzero(lengths == 0)}
    present = np.flatnonzero(lengths > 0)
    if len(present) == 0:
        return partners_of
    _, values, turned = np.linalg.svd(triangle(matrix[:, present] / lengths[present]))
    null = turned[np.append(values, np.zeros(len(present) - len(values))) < _TOLERANCE * len(present)]
    # The projector is unique where a basis of the null space is not: two separate ties stay separate.
    linked = np.abs(null.T @ null) > _WEIGHT
    for position in np.flatnonzero(linked.any(axis=1)):
        partners = np.flatnonzero(_reached(linked, int(position)))
        partners_of[terms[int(present[position])]] = tuple(terms[int(present[i])] for i in partners if i != position)
    return partners_of


def not_estimable(matrix: NDArray[np.float64], terms: Sequence[str], group: NDArray[np.int64]) -> dict[str, tuple[str, ...]]:
    """The terms that within-group differences cannot estimate, each with the terms it is tied to.

    matrix: (n, p); group: (n,) integer codes 0 to g - 1. A term that never changes within a group comes with no partner.
    Terms that are a combination of one another come with each other. Not for random-effects models, which compare groups as
    well: use `ties`.
    """
    return ties(demeaned(matrix, group), terms)


def triangle(matrix: NDArray[np.float64]) -> NDArray[np.float64]:
    """The triangular factor R of a matrix (n, p), shape (min(n, p), p), block by block; R'R is its cross-product."""
    factor = matrix[:0]
    for start in range(0, len(matrix), _ROWS_AT_A_TIME):
        factor = np.asarray(np.linalg.qr(np.vstack([factor, matrix[start : start + _ROWS_AT_A_TIME]]), mode="r"))
    return factor


def _reached(linked: NDArray[np.bool_], start: int) -> NDArray[np.bool_]:
    """The columns linked to one, directly or through others."""
    reached = linked[start].copy()
    while not np.array_equal(wider := reached | linked[reached].any(axis=0), reached):
        reached = wider
    return np.asarray(reached)


def ties_of_products(
    products: NDArray[np.float64],
    terms: Sequence[str],
    surely: Callable[[NDArray[np.bool_]], dict[str, tuple[str, ...]]],
) -> dict[str, tuple[str, ...]]:
    """What `ties` finds, from a design's cross products (p, p) where these can tell; else what `surely` finds in the rows of
    the columns in doubt, flags (p,).

    Cross products hold the squares of the singular values, so that what is small among them is rounding. Every combination
    that comes to nothing lies in the space of their small eigenvalues; a column without weight there is in none.
    """
    lengths = np.sqrt(np.diag(products))
    present = lengths > 0
    partners_of: dict[str, tuple[str, ...]] = {terms[int(index)]: () for index in np.flatnonzero(~present)}
    if present.any():
        scaled = products[np.ix_(present, present)] / np.outer(lengths[present], lengths[present])
        values, vectors = np.linalg.eigh(scaled)
        if values[0] < _PLAIN:
            weight = (vectors[:, values < _PLAIN] ** 2).sum(axis=1)
            doubtful = np.zeros(len(products), dtype=bool)
            # No entry of a projector is above the root of its two diagonal ones.
            doubtful[present] = weight > _WEIGHT**2
            partners_of |= surely(doubtful)
    return partners_of


def independent_of_products(products: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Which columns of a design with these cross products (p, p) are no combination of those before them; for covariates only.

    By Cholesky steps, columns scaled to length one: of two columns that say the same, the first stays.
    """
    lengths = np.sqrt(np.diag(products))
    left = products / np.outer(*(2 * [np.where(lengths > 0, lengths, 1.0)]))
    kept = np.zeros(len(products), dtype=bool)
    for place in range(len(products)):
        if left[place, place] > 1e-8:
            kept[place] = True
            left -= np.outer(left[:, place], left[place]) / left[place, place]
    return kept

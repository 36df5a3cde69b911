"""Which terms the data can tell apart at all, and which were always changed together."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

# Of a column scaled to length one, what is left beyond the others below this share is rounding.
_TOLERANCE = 1e-9
# A weight of a column in a combination that comes to nothing, below which it is no part of it.
_WEIGHT = 1e-6
_ROWS_AT_A_TIME = 1 << 16


def demeaned(matrix: NDArray[np.float64], group: NDArray[np.int64]) -> NDArray[np.float64]:
    """`matrix` (n, p) less the mean of its row's group; group: integer codes from 0 on, shape (n,); a code may be absent."""
    counts = np.maximum(np.bincount(group), 1).astype(float)  # a code may be absent
    less = np.empty(matrix.shape)
    for index, column in enumerate(matrix.T):
        less[:, index] = column - (np.bincount(group, weights=column) / counts)[group]
    return less


def ties(matrix: NDArray[np.float64], terms: Sequence[str]) -> dict[str, tuple[str, ...]]:
    """The columns of a design (n, p) that are combinations of one another, each with its partners; a column of zeros with none.

    By singular values of the triangular factor, columns scaled to length one: no unit changes the answer.
    Not a measure of how nearly two columns are the same: a wide interval tells that.
    """
    lengths = np.sqrt((matrix**2).sum(axis=0))
    found: dict[str, tuple[str, ...]] = {terms[int(index)]: () for index in np.flatnonzero(lengths == 0)}
    present = np.flatnonzero(lengths > 0)
    if len(present) == 0:
        return found
    _, values, turned = np.linalg.svd(_triangle(matrix[:, present] / lengths[present]))
    null = turned[np.append(values, np.zeros(len(present) - len(values))) < _TOLERANCE * len(present)]
    # The projector is unique where a basis of the null space is not: two separate ties stay separate.
    linked = np.abs(null.T @ null) > _WEIGHT
    for position in np.flatnonzero(linked.any(axis=1)):
        partners = np.flatnonzero(_reached(linked, int(position)))
        found[terms[int(present[position])]] = tuple(terms[int(present[i])] for i in partners if i != position)
    return found


def not_estimable(matrix: NDArray[np.float64], terms: Sequence[str], group: NDArray[np.int64]) -> dict[str, tuple[str, ...]]:
    """The terms that within-group differences cannot estimate, each with the terms it is tied to.

    matrix: (n, p); group: (n,) integer codes 0 to g - 1. A term that never changes within a group comes with no partner.
    Terms that are a combination of one another come with each other. Not for random-effects models, which compare groups as
    well: use `ties`.
    """
    within = demeaned(matrix, group)
    scale = np.abs(matrix).max(axis=0, initial=0.0)
    # What demeaning leaves of a column that never changes within a group is rounding: exactly zero, so that ties says so.
    within[:, np.abs(within).max(axis=0, initial=0.0) <= 1e-12 * scale] = 0.0
    return ties(within, terms)


def _triangle(matrix: NDArray[np.float64]) -> NDArray[np.float64]:
    """The triangular factor (p, p) of a tall matrix, block by block."""
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

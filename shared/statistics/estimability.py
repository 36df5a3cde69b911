"""Which terms of a within-group comparison the data can tell apart at all."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

# Columns are scaled to length one first; what is left of a column beyond the others below this share is rounding.
_TOLERANCE = 1e-7


def demeaned(matrix: NDArray[np.float64], group: NDArray[np.int64]) -> NDArray[np.float64]:
    """`matrix` (n, p) less the mean of its row's group; group: integer codes from 0 on, shape (n,)."""
    counts = np.maximum(np.bincount(group), 1).astype(float)  # a code may be absent
    means = np.column_stack([np.bincount(group, weights=column) / counts for column in matrix.T])
    return np.asarray(matrix - means[group])


def not_estimable(matrix: NDArray[np.float64], terms: Sequence[str], group: NDArray[np.int64]) -> dict[str, tuple[str, ...]]:
    """The terms that within-group differences cannot estimate, each with the terms it is tied to.

    matrix: (n, p); group: (n,) integer codes. A term that never changes within a group comes with no partner. Terms that
    are a combination of one another come with each other. Not for random-effects models, which compare groups as well.
    """
    within = demeaned(matrix, group) if matrix.shape[1] else matrix
    lengths = np.sqrt((within**2).sum(axis=0))
    scale = np.sqrt((matrix**2).sum(axis=0))
    constant = lengths <= _TOLERANCE * np.maximum(scale, 1.0)
    found: dict[str, tuple[str, ...]] = {terms[int(index)]: () for index in np.flatnonzero(constant)}
    varying = np.flatnonzero(~constant)
    if len(varying) == 0:
        return found
    scaled = within[:, varying] / lengths[varying]
    # The null space says which columns are tied: every term with a weight in one of its directions.
    values, vectors = np.linalg.eigh(scaled.T @ scaled)
    null = vectors[:, values < _TOLERANCE * len(varying)]
    weight = np.abs(null) > 1e-4
    for position, index in enumerate(varying):
        if weight[position].any():
            shared = weight[:, weight[position]].any(axis=1)
            partners = [terms[int(varying[other])] for other in np.flatnonzero(shared) if other != position]
            found[terms[int(index)]] = tuple(partners)
    return found

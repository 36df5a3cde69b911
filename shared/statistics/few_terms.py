"""CR2 for a handful of terms and very many riders: each entry of a rider's small matrix is one array over all riders.

The formulas are those of cluster_robust.py (METHODS.md, "Clustered covariance"), which handles any number of terms.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from shared.statistics.cluster_robust import Sandwich, cr2_from_parts, root_of

Array = NDArray[np.float64]

# One rider's share of the information above which a series no longer holds, as in cluster_robust.
_SERIES_UP_TO = 0.05
_SERIES = (1 / 2, 3 / 8, 5 / 16, 35 / 128)


def cr2_of_few(design: Array, residual: Array, rider: NDArray[np.int64]) -> Sandwich:
    """As cr2_of_rows: design (n, p) of few terms; residual (n,); rider: codes 0 to riders - 1, each present, shape (n,).

    Where any rider holds a large share of the information, all go through eigenvalues instead, as there.
    Raises LinAlgError where the information is singular.
    """
    root = root_of(np.asarray(np.linalg.inv(design.T @ design)))
    scaled = (design @ root).T
    p = len(root)
    share = [[_sums(rider, scaled[i] * scaled[j]) for j in range(p)] for i in range(p)]
    scores = [_sums(rider, scaled[i] * residual) for i in range(p)]
    if np.sum([share[i][i] for i in range(p)], axis=0).max() > _SERIES_UP_TO:
        parts = np.moveaxis(np.array(share), 2, 0), np.array(scores).T
        return cr2_from_parts([parts], root)
    adjusted, power = [score.copy() for score in scores], scores
    for factor in _SERIES:
        power = _times(share, power)
        adjusted = [total + factor * part for total, part in zip(adjusted, power, strict=True)]
    influence = root @ np.array(adjusted)
    return Sandwich(influence.T, influence @ influence.T, np.array([_df(share, root[term]) for term in range(p)]))


def _sums(rider: NDArray[np.int64], values: Array) -> Array:
    return np.bincount(rider, weights=values).astype(np.float64)


def _times(matrix: Sequence[Sequence[Array]], vector: Sequence[Array]) -> list[Array]:
    """Every rider's matrix (p, p) times the same rider's vector (p,)."""
    return [sum((entry * part for entry, part in zip(row, vector, strict=True)), np.zeros(1)) for row in matrix]


def _df(share: list[list[Array]], line: Array) -> float:
    """Satterthwaite's degrees of freedom of one term, a line of the root."""
    first = _times(share, [np.full(1, value) for value in line])
    second = _times(share, first)
    third = _times(share, second)
    own = sum((value * (a + b + c) for value, a, b, c in zip(line, first, second, third, strict=True)), np.zeros(1))
    joint = np.array([a + b / 2 + 3 / 8 * c for a, b, c in zip(first, second, third, strict=True)])
    length = (joint**2).sum(axis=0)
    trace, squares = float((own - length).sum()), float((own**2 - 2 * own * length).sum())
    spread = squares + float(((joint @ joint.T) ** 2).sum())
    return trace**2 / spread if trace > 0 and spread > 0 else 0.0

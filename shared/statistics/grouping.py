"""Codes of riders, knees and visits made dense."""

import numpy as np
import pandas as pd
from numpy.typing import NDArray

Codes = NDArray[np.int64]


def dense(codes: NDArray[np.generic]) -> tuple[Codes, NDArray[np.generic]]:
    """Codes 0 to k - 1 in order of first appearance, shape (n,), and the label of each, shape (k,)."""
    if np.issubdtype(codes.dtype, np.integer):
        step = np.diff(codes.astype(np.int64))
        if (step >= 0).all():
            first = np.append(np.ones(min(len(codes), 1), dtype=bool), step > 0)
            return np.cumsum(first) - 1, codes[first]
    numbers, labels = pd.factorize(codes)
    return np.asarray(numbers, dtype=np.int64), np.asarray(labels)


def within_rider(rider: Codes, codes: Codes) -> Codes:
    """Codes that never span two riders: the same `codes` under two riders become two levels."""
    own, labels = dense(codes)
    return dense(rider * len(labels) + own)[0]


def same_partition(first: Codes, second: Codes) -> bool:
    """Whether two sets of dense codes put the same rows together."""
    n_first, n_second = (int(codes.max(initial=-1)) + 1 for codes in (first, second))
    if n_first != n_second:
        return False
    partner = np.empty(n_first, dtype=np.int64)
    partner[first] = second
    return bool(np.array_equal(partner[first], second))

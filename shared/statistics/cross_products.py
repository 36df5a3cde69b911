"""Cross products of long, narrow matrices."""

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

# BLAS shares larger products out among its threads and waits for the last of them: on a busy machine the waiting takes far
# longer than the product. Portions below 2^18 multiplications stay with the caller.
_MULTIPLICATIONS_AT_A_TIME = 1 << 18


def cross_product(left: Floats, right: Floats) -> Floats:
    """left' right of (n, a) and (n, b), portion by portion of the rows."""
    n, a, b = *left.shape, right.shape[1]
    step = max(1, _MULTIPLICATIONS_AT_A_TIME // (a * b))
    total = np.zeros((a, b))
    for start in range(0, n, step):
        total += left[start : start + step].T @ right[start : start + step]
    return total

"""Matrices of a few rows, stacked along the last axis: (..., k, k, classes); and cross products of long, narrow ones."""

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

# BLAS shares larger products out among its threads and waits for the last of them: on a busy machine the waiting takes far
# longer than the product. Portions below 2^18 multiplications stay with the caller.
_MULTIPLICATIONS_AT_A_TIME = 1 << 18


def cross_product(left: Floats, right: Floats) -> Floats:
    """left' right of (..., n, a) and (..., n, b), portion by portion of the rows."""
    n, a, b = *left.shape[-2:], right.shape[-1]
    step = max(1, _MULTIPLICATIONS_AT_A_TIME // (a * b))
    turned = np.swapaxes(left, -1, -2)
    total = np.zeros((*left.shape[:-2], a, b))
    for start in range(0, n, step):
        total += turned[..., start : start + step] @ right[..., start : start + step, :]
    return total


def times(left: Floats, right: Floats) -> Floats:
    """Matrix products of (..., i, j, c) and (..., j, k, c)."""
    return np.asarray((left[..., :, :, None, :] * right[..., None, :, :, :]).sum(axis=-3))


def transposed(stack: Floats) -> Floats:
    return np.swapaxes(stack, -3, -2)


def inverse_and_logdet(stack: Floats) -> tuple[Floats, Floats]:
    """Inverses (k, k, c) and the logarithms of the determinants (c,) of matrices with positive determinants."""
    k = stack.shape[0]
    if k == 1:
        return 1.0 / stack, np.log(stack[0, 0])
    if k == 2:
        determinant = stack[0, 0] * stack[1, 1] - stack[0, 1] * stack[1, 0]
        adjugate = np.array([[stack[1, 1], -stack[0, 1]], [-stack[1, 0], stack[0, 0]]])
        return adjugate / determinant, np.log(determinant)
    first = np.moveaxis(stack, -1, 0)
    return np.ascontiguousarray(np.moveaxis(np.linalg.inv(first), 0, -1)), np.linalg.slogdet(first)[1]

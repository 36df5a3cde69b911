"""Matrices of a few rows, stacked along the last axis: (..., k, k, classes). One numpy step handles all classes at once."""

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


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

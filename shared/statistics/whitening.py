"""Rows of a mixed model made independent: V^-1/2 applied to the columns, level by level, without ever forming V."""

import numpy as np
from numpy.typing import NDArray

from shared.statistics.reml_profile import ClassMatrices, LevelRatios, class_matrices
from shared.statistics.rider_blocks import Blocks, Level, indicator
from shared.statistics.small_matrices import times

Floats = NDArray[np.float64]


def whitening_offsets(blocks: Blocks, lowest_sums: Floats, ratios: LevelRatios) -> Floats:
    """What to take off each row so that its covariance becomes that of independent rows of unit variance.

    lowest_sums (lowest units, slots, width): sums of the columns by slot; ratios as in class_matrices. The result has the same
    shape: row r of the data less the entry of its lowest unit and slot is row r of V^-1/2 times the data.
    Each level's root is I - Z G Z' with G = M f(M' N M) M', M M' the covariance of the level's intercepts and
    f(a) = (1 - 1/sqrt(1 + a)) / a, Z the slots as the levels below left them.
    """
    k = blocks.n_slots
    fixed = [(shared or 0.0, each or 0.0) for shared, each in ratios]
    matrices = class_matrices(blocks.levels, fixed, k)
    sums = [lowest_sums]
    for level, own in zip(blocks.levels[:-1], matrices, strict=False):
        passed = _each(own.q, level, sums[-1])
        flat = passed.reshape(len(passed), -1)
        sums.append((indicator(level.parent, int(level.parent.max()) + 1) @ flat).reshape(-1, *passed.shape[1:]))
    offset = np.zeros(0)
    for depth in range(len(sums) - 1, -1, -1):
        level, own = blocks.levels[depth], matrices[depth]
        root = _root(own, fixed[depth])
        here = _each(root, level, sums[depth])
        if len(offset):
            left = np.eye(k)[:, :, None] - times(root, own.n)
            here += _each(left, level, offset[level.parent])
        offset = here
    return offset


def _each(by_class: Floats, level: Level, values: Floats) -> Floats:
    """The class's matrix (slots, slots) times each unit's values (slots, width)."""
    return np.asarray(np.ascontiguousarray(by_class.transpose(2, 0, 1)).take(level.unit_class, axis=0) @ values)


def _root(own: ClassMatrices, ratios: tuple[float, float]) -> Floats:
    """G of every class, (slots, slots, classes)."""
    shared, each = ratios
    k = len(own.n)
    mean = np.full((k, k), 1.0 / k)
    m = each**0.5 * (np.eye(k) - mean) + (each + k * shared) ** 0.5 * mean
    values, vectors = np.linalg.eigh(m @ np.moveaxis(own.n, -1, 0) @ m)
    root = np.sqrt(1.0 + np.maximum(values, 0.0))
    inner = (vectors * (1.0 / (root * (1.0 + root)))[:, None, :]) @ np.swapaxes(vectors, 1, 2)
    return np.moveaxis(m @ inner @ m, 0, -1)

"""Rows of a mixed model made independent: V^-1/2 applied to the columns, level by level, without ever forming V."""

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from shared.statistics.reml_profile import ClassMatrices, LevelRatios, class_matrices
from shared.statistics.rider_blocks import Blocks, Level, indicator
from shared.statistics.small_matrices import times

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


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


def whitened_cells(blocks: Blocks, n: Ints, sums: Floats, ratios: LevelRatios) -> Floats:
    """The cells' means made independent of one another, each times the root of its rows, (cells, width).

    n (cells,): rows; sums (lowest units, slots, width) of the cells' rows, blocks.cell their places; a slot holds one cell at
    most. The cross products of the result, with those within cells, are those of V^-1/2 times the rows. Riders, or riders and
    visits: the same as whitening_offsets, in one sparse product a level.
    """
    k = blocks.n_slots
    fixed = [(shared or 0.0, each or 0.0) for shared, each in ratios]
    matrices = class_matrices(blocks.levels, fixed, k)
    low, own = blocks.levels[0], matrices[0]
    flat = sums.reshape(-1, sums.shape[-1])
    root = np.sqrt(n)
    unit, slot = np.divmod(blocks.cell, k)
    here = (-_root(own, fixed[0])).transpose(2, 0, 1)[low.unit_class[unit], slot] * root[:, None]
    here[np.arange(len(n)), slot] += 1 / root
    places = [unit[:, None] * k + np.arange(k)]
    weights, read = [here], [flat]
    if len(blocks.levels) > 1:
        top = blocks.levels[1]
        passed = _block_sums(own.q.transpose(2, 0, 1)[low.unit_class], low.parent, len(top.unit_class)) @ flat
        offset = _each(_root(matrices[1], fixed[1]), top, passed.reshape(-1, k, flat.shape[1])).reshape(-1, flat.shape[1])
        left = np.eye(k)[:, :, None] - times(_root(own, fixed[0]), own.n)
        weights.append(-left.transpose(2, 0, 1)[low.unit_class[unit], slot] * root[:, None])
        places.append(len(flat) + low.parent[unit][:, None] * k + np.arange(k))
        read.append(offset)
    joined = np.concatenate(read)
    entries, columns = np.concatenate(weights, axis=1), np.concatenate(places, axis=1)
    starts = np.arange(len(n) + 1) * columns.shape[1]
    return np.asarray(sparse.csr_array((entries.ravel(), columns.ravel(), starts), shape=(len(n), len(joined))) @ joined)


def _block_sums(by_unit: Floats, parent: Ints, n_parents: int) -> sparse.csr_array:
    """The matrix that takes each unit's slots through its own (units, slots, slots) and sums them by parent."""
    k = by_unit.shape[1]
    units = np.arange(len(by_unit))
    rows = np.broadcast_to((parent[:, None] * k + np.arange(k))[:, :, None], by_unit.shape)
    columns = np.broadcast_to((units[:, None] * k + np.arange(k))[:, None, :], by_unit.shape)
    return sparse.csr_array((by_unit.ravel(), (rows.ravel(), columns.ravel())), shape=(n_parents * k, len(units) * k))

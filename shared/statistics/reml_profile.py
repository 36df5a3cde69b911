"""The REML criterion of nested random intercepts, profiled to the variance ratios, with its gradient.

V = I + Z D Z' is inverted level by level (Woodbury), captures first, riders last. At each level a unit with cross products N
and sums S of its slots takes S' H S off the cross products of the data, H = C (I + N C)^-1 with C the covariance of the
level's intercepts, and hands Q N and Q S, Q = (I + N C)^-1, to the unit above. All of these are functions of the class alone.
Source: Harville 1977, J Am Stat Assoc 72:320 (REML); Woodbury 1950; the gradient is that of Bates & DebRoy 2004,
J Multivar Anal 91:1, written for classes.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from shared.statistics.rider_blocks import Blocks, Level, indicator
from shared.statistics.small_matrices import cross_product, inverse_and_logdet, times, transposed

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# Classes with at least this many units a column keep cross products of their blocks in place of the blocks: cheaper to read.
_CROSS_PRODUCTS_FROM = 1 / 16

# Of each level, the ratio of the intercept that its slots share and of the one that they have each; None where left out.
LevelRatios = Sequence[tuple[float | None, float | None]]


@dataclass(frozen=True)
class ClassMatrices:
    """One level at given ratios; by class: n, q, h (slots, slots, classes); by path: t (slots, slots, paths).

    d_... are derivatives by each free ratio along a first axis. logdet: the level's share of log |V|, d_logdet (free,).
    """

    n: Floats
    q: Floats
    h: Floats
    d_h: Floats
    t: Floats
    d_t: Floats
    logdet: float
    d_logdet: Floats


def level_covariance(shared: float, each: float, k: int) -> Floats:
    """Covariance (k, k) of one unit's intercepts: `shared` by all slots plus one for `each`."""
    return shared * np.ones((k, k)) + each * np.eye(k)


def class_matrices(levels: Sequence[Level], ratios: LevelRatios, k: int) -> list[ClassMatrices]:
    """The matrices of every level, lowest first; one derivative for each ratio that is not None, in order."""
    n_free = sum(ratio is not None for pair in ratios for ratio in pair)
    made: list[ClassMatrices] = []
    d_q = d_passed = np.zeros(0)
    position = 0
    for depth, (level, (shared, each)) in enumerate(zip(levels, ratios, strict=True)):
        if depth == 0:
            counts = level.composition.toarray().T
            n = np.zeros((k, k, counts.shape[1]))
            n[np.arange(k), np.arange(k)] = counts
            d_n = np.zeros((n_free, *n.shape))
            t, d_t = np.eye(k)[:, :, None], np.zeros((n_free, k, k, 1))
        else:
            n, d_n, t, d_t = _handed_up(level, made[-1], d_passed, d_q)
        c = level_covariance(shared or 0.0, each or 0.0, k)[:, :, None]
        d_c = np.zeros((n_free, k, k, 1))
        for ratio, unit in ((shared, np.ones((k, k))), (each, np.eye(k))):
            if ratio is not None:
                d_c[position, :, :, 0] = unit
                position += 1
        q, logdet = inverse_and_logdet(np.eye(k)[:, :, None] + times(n, c))
        d_a = times(d_n, c) + times(n, d_c)
        d_q = -times(q, times(d_a, q))
        d_passed = times(d_q, n) + times(q, d_n)
        made.append(
            ClassMatrices(
                n=n,
                q=q,
                h=times(c, q),
                d_h=times(d_c, q) + times(c, d_q),
                t=t,
                d_t=d_t,
                logdet=float(logdet @ level.class_size),
                d_logdet=np.einsum("ijc,pjic,c->p", q, d_a, level.class_size.astype(float)),
            )
        )
    return made


def _handed_up(level: Level, below: ClassMatrices, d_passed: Floats, d_q: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    """n, its derivatives, the path matrices and theirs, from what the level below hands up."""
    passed = times(below.q, below.n)
    k, holds = len(passed), level.composition.T.tocsr()
    n = (passed.reshape(k * k, -1) @ holds).reshape(k, k, -1)
    d_n = (d_passed.reshape(len(d_passed) * k * k, -1) @ holds).reshape(len(d_passed), k, k, -1)
    q, t = below.q[..., level.path_class], below.t[..., level.path_below]
    d_t = times(d_q[..., level.path_class], t) + times(q, below.d_t[..., level.path_below])
    return n, d_n, times(q, t), d_t


@dataclass(frozen=True)
class Batch:
    """Units of one level with equally many blocks, by class: path (classes, blocks).

    Either products (classes x pairs of columns, pairs of width), sums over units of the blocks' cross products (upper
    triangles), or sums (units, columns, width) sorted by class with n_units (classes,); columns = blocks x slots.
    """

    level: int
    classes: Ints
    path: Ints
    products: Floats | None
    sums: Floats
    n_units: Ints


@cache
def _upper(k: int) -> tuple[Ints, Ints]:
    """Rows and columns of the upper triangle of a k x k matrix."""
    rows, columns = np.triu_indices(k)
    return rows, columns


def batches(blocks: Blocks, lowest_sums: Floats) -> list[Batch]:
    """What the criterion reads of the data; lowest_sums (lowest units, slots, width): sums of the columns by slot."""
    k, width = lowest_sums.shape[1:]
    made: list[Batch] = []
    for depth, level in enumerate(blocks.levels):
        n_blocks = len(level.block_unit)
        flat = lowest_sums.reshape(len(lowest_sums), k * width)
        sums = flat if depth == 0 else indicator(level.block_of, n_blocks) @ flat
        held = np.bincount(level.block_unit)
        first = np.r_[0, np.cumsum(held)]
        order = np.lexsort((level.unit_class, held))
        for n_held in np.unique(held):
            units = order[held[order] == n_held]
            made += _level_batches(depth, level, sums, first[units][:, None] + np.arange(n_held), units, width)
    return made


def _level_batches(depth: int, level: Level, sums: Floats, places: Ints, units: Ints, width: int) -> list[Batch]:
    """At most two batches: the frequent classes as cross products, the rare ones as they are. places (units, blocks)."""
    classes = level.unit_class[units]
    first = np.flatnonzero(np.r_[True, classes[1:] != classes[:-1]])
    n_units = np.diff(np.r_[first, len(units)])
    columns = places.shape[1] * sums.shape[1] // width
    frequent = n_units >= _CROSS_PRODUCTS_FROM * columns * width
    paths = level.block_path[places[first]]
    none = np.empty((0, columns, width))
    made = []
    if frequent.any():
        left, right = _upper(columns)
        upper = _upper(width)
        flat = np.empty((int(frequent.sum()), len(left), len(upper[0])))
        for index, (start, count) in enumerate(zip(first[frequent], n_units[frequent], strict=True)):
            own = sums.take(places[start : start + count].ravel(), axis=0).reshape(count, columns, width).transpose(1, 0, 2)
            pairs = cross_product(own[left], own[right])
            flat[index] = ((pairs + pairs.transpose(0, 2, 1)) / 2)[:, *upper]
        made.append(
            Batch(depth, classes[first[frequent]], paths[frequent], flat.reshape(-1, len(upper[0])), none, n_units[frequent])
        )
    if not frequent.all():
        rare = np.repeat(~frequent, n_units)
        own = sums.take(places[rare].ravel(), axis=0).reshape(-1, columns, width)
        made.append(Batch(depth, classes[first[~frequent]], paths[~frequent], None, own, n_units[~frequent]))
    return made


def criterion(
    blocks: Blocks, read: Sequence[Batch], total: Floats, ratios: LevelRatios, n_rows: int
) -> tuple[float, Floats, Floats]:
    """Minus the REML log-likelihood less its constant; its gradient by the free ratios; the factor L of [X y]' V^-1 [X y].

    total (p + 1, p + 1): cross products of the columns and, last, the outcome. Raises numpy's LinAlgError where singular.
    """
    levels = class_matrices(blocks.levels, ratios, blocks.n_slots)
    coefficients = [_coefficient(batch, levels[batch.level]) for batch in read]
    products = total.copy()
    for batch, (_, coefficient) in zip(read, coefficients, strict=True):
        products -= _taken_off(batch, coefficient)
    factor = np.asarray(np.linalg.cholesky((products + products.T) / 2), dtype=np.float64)
    p, df = len(total) - 1, n_rows - len(total) + 1
    diagonal = np.diag(factor)
    logdet = sum(level.logdet for level in levels)
    value = 0.5 * logdet + float(np.log(diagonal[:p]).sum()) + df * float(np.log(diagonal[p]))
    weight = weight_of(factor, df)
    gradient = 0.5 * sum((level.d_logdet for level in levels), start=np.zeros(len(levels[0].d_logdet)))
    for batch, (t, _) in zip(read, coefficients, strict=True):
        gradient -= 0.5 * _slope(batch, levels[batch.level], t, _seen_by(batch, weight))
    return value, gradient, factor


def _coefficient(batch: Batch, level: ClassMatrices) -> tuple[Floats, Floats]:
    """T, from blocks to the unit's slots (slots, columns, classes), and T' H T (columns, columns, classes)."""
    t = _by_block(level.t, batch)
    return t, times(transposed(t), times(level.h[..., batch.classes], t))


def _by_block(by_path: Floats, batch: Batch) -> Floats:
    """Path matrices (..., slots, slots, paths) side by side for each block: (..., slots, columns, classes)."""
    chosen = np.moveaxis(by_path[..., batch.path], -1, -3)
    return chosen.reshape(*chosen.shape[:-3], chosen.shape[-3] * chosen.shape[-2], chosen.shape[-1])


def _taken_off(batch: Batch, coefficient: Floats) -> Floats:
    """Sum over units of B' coefficient B, (width, width)."""
    by_class = np.moveaxis(coefficient, -1, 0)
    width = batch.sums.shape[2]
    if batch.products is not None:
        found = np.einsum("c,cw->w", _doubled(by_class), batch.products)
        full = np.zeros((width, width))
        full[_upper(width)] = found
        return full + np.triu(full, 1).T
    weighted = np.repeat(by_class, batch.n_units, axis=0) @ batch.sums
    return cross_product(weighted.reshape(-1, width), batch.sums.reshape(-1, width))


def _doubled(symmetric: Floats) -> Floats:
    """Upper triangles (m x pairs) of symmetric (m, k, k), what stands off the diagonal counted twice."""
    k = symmetric.shape[-1]
    upper = _upper(k)
    return np.asarray(symmetric[:, *upper] * np.where(upper[0] == upper[1], 1.0, 2.0)).ravel()


def _seen_by(batch: Batch, weight: Floats) -> Floats:
    """Sum over a class's units of B weight B', (columns, columns, classes)."""
    columns = batch.sums.shape[1]
    if batch.products is not None:
        pairs = np.einsum("cw,w->c", batch.products, _doubled(weight[None])).reshape(len(batch.classes), -1)
        left, right = _upper(columns)
        found = np.empty((columns, columns, len(pairs)))
        found[left, right] = found[right, left] = pairs.T
        return found
    seen = (batch.sums @ weight) @ batch.sums.transpose(0, 2, 1)
    return np.moveaxis(np.add.reduceat(seen, np.r_[0, np.cumsum(batch.n_units)[:-1]], axis=0), 0, -1)


def _slope(batch: Batch, level: ClassMatrices, t: Floats, seen: Floats) -> Floats:
    """Derivative of sum tr(T' H T seen) by each ratio."""
    through = times(t, seen)
    by_h = times(through, transposed(t))
    by_t = 2.0 * times(level.h[..., batch.classes], through)
    d_t = _by_block(level.d_t, batch)
    return np.asarray(np.einsum("pijc,ijc->p", level.d_h[..., batch.classes], by_h) + np.einsum("pijc,ijc->p", d_t, by_t))


def weight_of(factor: Floats, df: int) -> Floats:
    """Derivative of log |X'V^-1 X| + df log(residual sum of squares) by the cross products, (p + 1, p + 1)."""
    p = len(factor) - 1
    weight = np.zeros_like(factor)
    inverse = np.linalg.inv(factor[:p, :p])
    weight[:p, :p] = inverse.T @ inverse
    contrast = np.r_[-(inverse.T @ factor[p, :p]), 1.0]
    return np.asarray(weight + df / factor[p, p] ** 2 * np.outer(contrast, contrast))

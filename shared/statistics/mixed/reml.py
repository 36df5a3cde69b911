"""The REML criterion of random intercepts for rider, knee and visit, profiled to their variance ratios, and its lowest point.

Cells are independent of one another given the intercepts, so that only their means m_c of n_c rows meet V: with K the inverse
of diag(1/n) + sum of ratio x (which cells share the intercept), V^-1 takes a rider's means M to M'KM, and log|V| is that of
its inverse plus the sum of log n. K is made once for riders of one kind. Source: Harville 1977, J Am Stat Assoc 72:320.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.linalg import solve_triangular

from shared.statistics.cross_products import cross_product
from shared.statistics.mixed.blocks import Block
from shared.statistics.mixed.lowest import Seen, lowest
from shared.statistics.mixed.riders import Grouped, Shape

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]

# The search runs on theta = log(1 + m ratio), m the mean number of rows a group, times the root of half the groups: the
# boundary stays at 0, the slope there does not vanish as it would for standard deviations, and curvature is about one.
_START, _HIGHEST = 1.0, 18.0


@dataclass(frozen=True)
class Means:
    """The cells' means of a block, columns and, last, the outcome: rows (c, w + 1); and their places among all (w + 1,)."""

    block: Block
    rows: Floats
    at: Ints

    @cached_property
    def spread(self) -> tuple[NDArray[np.intp], ...]:
        """Where the block's cross products stand among all."""
        return np.ix_(self.at, self.at)


class Kinds:
    """What the ratios make of the riders' kinds, and of the blocks whose riders are of these kinds."""

    def __init__(self, riders: Grouped, blocks: Sequence[Block]) -> None:
        self.riders = riders
        sizes = [shape.n.size * shape.n.shape[1] for shape in riders.shapes]
        offset = np.append(0, np.cumsum(sizes))[:-1]
        roots = [_upper_of(shape) for shape in riders.shapes]
        self.whitening = [_Pattern.of(riders, block, offset, roots) for block in blocks]
        # By shape: of each intercept which cells share it, as numbers (intercepts, kinds, c, c); riders of each kind (kinds,).
        none = [np.zeros((0, *shape.n.shape, shape.n.shape[1])) for shape in riders.shapes]
        self.same = [
            np.array([shape.same[name] for name in riders.names], dtype=float) if riders.names else empty
            for shape, empty in zip(riders.shapes, none, strict=True)
        ]
        self.n_riders = [shape.riders_of_kind.astype(float) for shape in riders.shapes]
        self.sizes = [(*shape.n.shape, shape.n.shape[1]) for shape in riders.shapes]

    def at(self, ratios: Mapping[str, float]) -> "KindsAt":
        """The same at some ratios."""
        weights, logdet = [], 0.0
        for shape in self.riders.shapes:
            own, logdets = weights_of(shape, ratios)
            weights.append(own)
            logdet += float(logdets @ shape.riders_of_kind)
        return KindsAt(self, weights, logdet)


@dataclass(frozen=True)
class KindsAt:
    """weights: K of each kind (kinds, c, c) by shape; logdet: log|V| of all riders."""

    kinds: Kinds
    weights: list[Floats]
    logdet: float

    def whitening(self) -> Iterator[sparse.csr_array]:
        """For each block the matrix (c, c) that makes of its cells' means independent ones of unit variance, whose cross
        products are those by K."""
        table = _flat(np.linalg.cholesky(own).transpose(0, 2, 1) for own in self.weights)
        return (pattern.filled(table) for pattern in self.kinds.whitening)


@dataclass(frozen=True)
class _Pattern:
    """A sparse matrix of a block whose entries are some of a table by kind: `entries` says which."""

    entries: Ints
    columns: Ints
    starts: Ints
    shape: tuple[int, int]

    @classmethod
    def of(cls, riders: Grouped, block: Block, offset: Ints, filled: Sequence[Flags]) -> "_Pattern":
        """filled: by shape, which entries of a kind's matrix there are (kinds, c, c); a row without any is no row here."""
        entries, columns, sizes, begun = [], [], [], 0
        for place, kind in block.kinds:
            c = riders.shapes[place].n.shape[1]
            rider, row, column = np.nonzero(filled[place][kind])
            entries.append(offset[place] + (kind.take(rider) * c + row) * c + column)
            columns.append(begun + rider * c + column)
            of_row = np.bincount(rider * c + row, minlength=len(kind) * c)
            sizes.append(of_row[of_row > 0])
            begun += len(kind) * c
        starts = np.append(0, np.cumsum(np.concatenate(sizes)))
        return cls(np.concatenate(entries), np.concatenate(columns), starts, (len(starts) - 1, begun))

    def filled(self, table: Floats) -> sparse.csr_array:
        return sparse.csr_array((table.take(self.entries), self.columns, self.starts), shape=self.shape)


def _flat(tables: Iterable[NDArray[np.floating]]) -> Floats:
    return np.concatenate([table.ravel() for table in tables]).astype(np.float64, copy=False)


def _upper_of(shape: Shape) -> Flags:
    c = shape.n.shape[1]
    return np.broadcast_to(np.triu(np.ones((c, c), dtype=bool)), (len(shape.n), c, c))


@dataclass(frozen=True)
class Criterion:
    """within (p + 1, p + 1): cross products within cells of the columns and, last, the outcome; means: of all riders; degrees:
    rows less terms."""

    kinds: Kinds
    within: Floats
    means: Sequence[Means]
    degrees: int

    @property
    def names(self) -> tuple[str, ...]:
        return tuple(self.kinds.riders.names)

    def products(self, at: KindsAt) -> Floats:
        """[X y]'V^-1[X y]."""
        products = self.within.copy()
        for own, whitening in zip(self.means, at.whitening(), strict=True):
            rows = whitening @ own.rows
            products[own.spread] += cross_product(rows, rows)
        return np.asarray((products + products.T) / 2)

    def whitened(self, ratios: Mapping[str, float]) -> list[Floats]:
        """The whitened means of each block, columns and outcome."""
        at = self.kinds.at(ratios)
        return [whitening @ own.rows for own, whitening in zip(self.means, at.whitening(), strict=True)]

    def __call__(self, ratios: Floats) -> Seen:
        """Minus the REML log-likelihood less its constant, with its gradient and curvature by the ratios, and the lower
        triangular factor of [X y]'V^-1[X y]. Raises LinAlgError where that is singular.

        The curvature lacks how the information of the terms and the estimate turn, which is small where riders are many
        beside terms: tr((BM)^2) / 2 + df / rss (Mc)'B(Mc), M being [X y]'V^-1 ZZ' V^-1[X y].
        """
        at = self.kinds.at(dict(zip(self.names, ratios, strict=True)))
        factor = np.asarray(np.linalg.cholesky(self.products(at)))
        diagonal = np.log(np.diag(factor))
        value = 0.5 * at.logdet + float(diagonal[:-1].sum()) + self.degrees * float(diagonal[-1])
        squares, contrast = float(factor[-1, -1] ** 2), left_over(factor)
        told = self._by_kind(_slope(factor, self.degrees), contrast)
        m = len(self.names)
        trace, crossed, seen_of_rest = np.zeros((2, m)), np.zeros((m, m)), np.zeros(m)
        for k, (of_slope, of_rest), same, n_riders in zip(at.weights, told, self.kinds.same, self.kinds.n_riders, strict=True):
            # Of all intercepts at once, (m, kinds, c, c).
            by_weight, by_slope = k @ same, k @ of_slope @ k @ same
            trace[0] += np.trace(by_weight, axis1=2, axis2=3) @ n_riders
            trace[1] += np.trace(by_slope, axis1=2, axis2=3).sum(axis=1)
            seen_of_rest += same.reshape(m, k.size) @ (k @ of_rest @ k).ravel()
            by_slope -= 0.5 * n_riders[:, None, None] * by_weight
            crossed += by_slope.reshape(m, k.size) @ by_weight.transpose(0, 1, 3, 2).reshape(m, k.size).T
        crossed = crossed - 0.5 * self.degrees / squares**2 * np.outer(seen_of_rest, seen_of_rest)
        return Seen(value, 0.5 * (trace[0] - trace[1]), crossed, factor)

    def _by_kind(self, slope: Floats, contrast: Floats) -> list[tuple[Floats, Floats]]:
        """By shape, summed by kind (kinds, c, c) each: a rider's means M as M slope M', and of their contrast e as ee'."""
        found = [(np.zeros(size), np.zeros(size)) for size in self.kinds.sizes]
        for own in self.means:
            turned, rest, begun = own.rows @ slope[own.spread], own.rows @ contrast[own.at], 0
            for place, kind in own.block.kinds:
                c = found[place][0].shape[1]
                here, begun = slice(begun, begun + len(kind) * c), begun + len(kind) * c
                first = np.flatnonzero(np.diff(kind, prepend=-1))
                stack = (len(kind), c, own.rows.shape[1])
                each = turned[here].reshape(stack) @ own.rows[here].reshape(stack).transpose(0, 2, 1)
                found[place][0][kind[first]] += np.add.reduceat(each, first)
                column = rest[here].reshape(-1, c)
                found[place][1][kind[first]] += np.add.reduceat(column[:, :, None] * column[:, None, :], first)
        return found


def weights_of(shape: Shape, ratios: Mapping[str, float]) -> tuple[Floats, Floats]:
    """K of each kind (kinds, c, c), and its part of log|V| (kinds,)."""
    c = shape.n.shape[1]
    inverse = np.zeros((len(shape.n), c, c))
    inverse[:, np.arange(c), np.arange(c)] = 1.0 / shape.n
    for name, ratio in ratios.items():
        inverse += ratio * shape.same[name]
    return np.asarray(np.linalg.inv(inverse)), np.linalg.slogdet(inverse)[1] + np.log(shape.n).sum(axis=1)


def _slope(factor: Floats, df: int) -> Floats:
    """Derivative of log|X'V^-1 X| + df log(residual sum of squares) by the cross products, (p + 1, p + 1)."""
    p, contrast = len(factor) - 1, left_over(factor)
    inverse = np.linalg.inv(factor[:p, :p])
    slope = df / factor[p, p] ** 2 * np.outer(contrast, contrast)
    slope[:p, :p] += inverse.T @ inverse
    return np.asarray(slope)


def left_over(factor: Floats) -> Floats:
    """The contrast (p + 1,) that makes of the columns and the outcome what the estimate leaves of the outcome."""
    p = len(factor) - 1
    return np.append(-solve_triangular(factor[:p, :p], factor[p, :p], lower=True, trans=1), 1.0) if p else np.ones(1)


def best_ratios(
    criterion: Criterion, groups: Mapping[str, int], refusal: str, begun: Mapping[str, float] | None = None
) -> tuple[dict[str, float], float, Floats]:
    """The ratio of each intercept at the lowest criterion, exactly 0 at the boundary; the criterion there, and its factor.

    groups: how many each intercept has; begun: ratios to begin at, where all are known, for a shorter search.
    Raises NoConvergenceError with the sentence `refusal` where that does not come or a ratio grows without end.
    """
    names = criterion.names
    rows_a_group = np.array([(criterion.degrees + len(criterion.within) - 1) / groups[name] for name in names])
    scale = np.sqrt(np.array([groups[name] for name in names]) / 2)
    start = np.full(len(names), _START)
    if begun and set(names) <= set(begun):
        start = np.minimum(np.log1p(rows_a_group * [begun[name] for name in names]), _HIGHEST / 2)

    def ratios_at(place: Floats) -> Floats:
        return np.asarray(np.expm1(place / scale) / rows_a_group)

    def seen(place: Floats) -> Seen:
        found, by_place = criterion(ratios_at(place)), np.exp(place / scale) / rows_a_group / scale
        curvature = found.curvature * np.outer(by_place, by_place) + np.diag(found.gradient * by_place / scale)
        return Seen(found.value, found.gradient * by_place, curvature, found.factor)

    place, found = lowest(seen, start * scale, _HIGHEST * scale, refusal)
    return dict(zip(names, ratios_at(place).tolist(), strict=True)), found.value, found.factor

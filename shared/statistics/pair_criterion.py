"""reml_profile's criterion where visits have two knees and nothing finer is asked: in closed form, by whole arrays.

For few riders the matrices by class are mostly calls; here a value and gradient are some twenty products of (visits, columns).
METHODS.md, "The pooled model at speed".
"""

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from shared.statistics.reml_profile import weight_of
from shared.statistics.rider_blocks import Blocks
from shared.statistics.visit_pairs import Pairs, inverse_at

Floats = NDArray[np.float64]

INTERCEPTS = ("rider", "knee", "visit")
# With more visits the classes are the cheaper way.
_MOST_VISITS = 6000


class PairCriterion:
    """Sums (visits, 2, p + 1) of the columns and, last, the outcome by visit and knee; total (p + 1, p + 1) cross products."""

    def __init__(self, blocks: Blocks, sums: Floats, total: Floats, n_rows: int) -> None:
        low = blocks.levels[0]
        order = np.argsort(low.parent, kind="stable")
        n = np.asarray(low.composition.toarray(), dtype=float)[low.unit_class[order]]
        parent = low.parent[order]
        first = np.flatnonzero(np.r_[True, parent[1:] != parent[:-1]])
        self._pairs = Pairs(np.empty((0, 2), dtype=np.int64), n, first, np.ones(3, dtype=bool))
        self._sums = [np.ascontiguousarray(sums[order, knee]) for knee in (0, 1)]
        self._both = self._sums[0] + self._sums[1]
        self._total, self._degrees = total, n_rows - len(total) + 1

    @classmethod
    def serves(cls, blocks: Blocks, names: frozenset[str]) -> bool:
        small = len(blocks.levels) == 2 and len(blocks.levels[0].unit_class) <= _MOST_VISITS
        return small and blocks.n_slots == 2 and names <= set(INTERCEPTS)

    def of(self, places: list[int]) -> Callable[[Floats], tuple[float, Floats, Floats]]:
        """`at` as a function of the ratios of the intercepts at `places` of INTERCEPTS; the others are 0."""

        def found(ratios: Floats) -> tuple[float, Floats, Floats]:
            value, gradient, factor = self.at(_every(ratios, places))
            return value, gradient[places], factor

        return found

    def at(self, ratios: Floats) -> tuple[float, Floats, Floats]:
        """As reml_profile.criterion gives it, at ratios (3,) of INTERCEPTS, the gradient by each of them."""
        pairs = self._pairs
        inverse = inverse_at(pairs, ratios)
        (n0, n1, rows), w = pairs.rows, inverse.w
        weighed = w[:, None] * self._both
        brought0 = pairs.by_rider(self._sums[0] - n0[:, None] * weighed)
        brought1 = pairs.by_rider(self._sums[1] - n1[:, None] * weighed)
        hp0, hp1 = _times(inverse.h, brought0, brought1)
        products = self._total - weighed.T @ self._both - brought0.T @ hp0 - brought1.T @ hp1
        factor = np.asarray(np.linalg.cholesky((products + products.T) / 2), dtype=np.float64)
        diagonal = np.diag(factor)
        value = 0.5 * inverse.logdet + float(np.log(diagonal[:-1]).sum()) + self._degrees * float(np.log(diagonal[-1]))
        u0, u1 = _times(inverse.b, brought0, brought1)
        left = self._both - n0[:, None] * hp0.take(pairs.rider, axis=0) - n1[:, None] * hp1.take(pairs.rider, axis=0)
        z = left * (1 - w * rows)[:, None]
        weight = weight_of(factor, self._degrees)
        own = _seen(u0, weight) + _seen(u1, weight)
        slope = np.array([_seen(u0 + u1, weight), own, _seen(z, weight)])
        return value, 0.5 * (inverse.d_logdet - slope), factor


def _every(ratios: Floats, places: list[int]) -> Floats:
    """Ratios (3,) of INTERCEPTS from those at `places`, 0 for the others."""
    every = np.zeros(len(INTERCEPTS))
    every[places] = ratios
    return every


def _times(matrices: Floats, part0: Floats, part1: Floats) -> list[Floats]:
    """Matrices (2, 2, riders) times the two parts (riders, p + 1) of each rider."""
    return [row[0][:, None] * part0 + row[1][:, None] * part1 for row in matrices]


def _seen(u: Floats, weight: Floats) -> float:
    """tr(weight u'u)."""
    return float(np.vdot(weight, u.T @ u))

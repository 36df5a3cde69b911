"""The REML criterion of random intercepts for rider, knee and visit, profiled to their variance ratios, and its lowest point.

Cells are independent of one another given the intercepts, so that only their means m_c of n_c rows meet V: with K the inverse
of diag(1/n) + sum of ratio x (which cells share the intercept), V^-1 takes a rider's means M to M'KM, and log|V| is that of
its inverse plus the sum of log n. K is made once for riders of one kind. Source: Harville 1977, J Am Stat Assoc 72:320.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

from shared.errors import NoConvergenceError
from shared.statistics.estimability import triangle
from shared.statistics.mixed.riders import Grouped, Shape

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# The search runs on theta = log(1 + m ratio), m the mean number of rows a group, times the root of half the groups: the
# boundary stays at 0, the slope there does not vanish as it would for standard deviations, and curvature is about one.
_START, _HIGHEST = 1.0, 18.0
# The slope at which the search ends, in these coordinates: in theta's own standard errors.
_SETTLED, _NEARLY = 1e-7, 1e-4


@dataclass(frozen=True)
class Means:
    """The cells' means of riders of one shape, kind by kind: rows (m, c, width), kind (m,), first (kinds,).

    Of a kind with many riders rows hold the triangular factor, whose cross products are the riders'."""

    shape: Shape
    rows: Floats
    kind: Ints
    first: Ints


@dataclass(frozen=True)
class Criterion:
    """within (p + 1, p + 1): cross products within cells of the columns and, last, the outcome; means: of all riders."""

    names: Sequence[str]
    within: Floats
    means: Sequence[Means]
    n_rows: int

    def __call__(self, ratios: Floats) -> tuple[float, Floats, Floats]:
        """Minus the REML log-likelihood less its constant, its gradient by the ratios (names,), and the lower triangular
        factor of [X y]'V^-1[X y]. Raises LinAlgError where that is singular."""
        given = dict(zip(self.names, ratios, strict=True))
        products, width = self.within.copy(), len(self.within)
        weighted, gradient, logdet = [], np.zeros(len(ratios)), 0.0
        for own in self.means:
            weights, logdets = weights_of(own.shape, given)
            logdet += float(logdets @ own.shape.riders_of_kind)
            weighted.append(weights[own.kind] @ own.rows)
            products += own.rows.reshape(-1, width).T @ weighted[-1].reshape(-1, width)
            for place, name in enumerate(self.names):
                traces = np.einsum("kij,kij->k", weights, own.shape.same[name])
                gradient[place] += traces @ own.shape.riders_of_kind
        factor = np.asarray(np.linalg.cholesky((products + products.T) / 2))
        p, df = width - 1, self.n_rows - width + 1
        diagonal = np.diag(factor)
        value = 0.5 * logdet + float(np.log(diagonal[:p]).sum()) + df * float(np.log(diagonal[p]))
        slope = _slope(factor, df)
        for own, rows in zip(self.means, weighted, strict=True):
            seen = (rows.reshape(-1, width) @ slope).reshape(rows.shape) @ rows.transpose(0, 2, 1)
            by_kind = np.add.reduceat(seen, own.first)
            for place, name in enumerate(self.names):
                gradient[place] -= np.einsum("kij,kij->", by_kind, own.shape.same[name])
        return value, 0.5 * gradient, factor


def means_of(grouped: Grouped, columns: Floats) -> list[Means]:
    """The cells' means (cells, width) by shape."""
    made = []
    for shape in grouped.shapes:
        rows, ends = columns[shape.cells], np.append(shape.first[1:], len(shape.rider))
        parts = [_condensed(rows[start:end]) for start, end in zip(shape.first, ends, strict=True)]
        sizes = [len(part) for part in parts]
        made.append(
            Means(shape, np.concatenate(parts), np.repeat(np.arange(len(parts)), sizes), np.cumsum(sizes) - np.array(sizes))
        )
    return made


def _condensed(rows: Floats) -> Floats:
    """Rows (m, c, width) with the same cross products, as few as these may be."""
    flat = rows.reshape(len(rows), -1)
    return rows if len(flat) <= 2 * flat.shape[1] else triangle(flat).reshape(-1, *rows.shape[1:])


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
    p = len(factor) - 1
    inverse = np.linalg.inv(factor[:p, :p])
    contrast = np.append(-(inverse.T @ factor[p, :p]), 1.0)
    slope = df / factor[p, p] ** 2 * np.outer(contrast, contrast)
    slope[:p, :p] += inverse.T @ inverse
    return np.asarray(slope)


def best_ratios(
    criterion: Criterion, groups: Mapping[str, int], refusal: str, begun: Mapping[str, float] | None = None
) -> dict[str, float]:
    """The ratio of each intercept at the lowest criterion; one at the boundary is exactly 0.

    groups: how many each intercept has; begun: ratios to begin at, where all are known. By scipy's bounded quasi-Newton
    search (L-BFGS-B). Raises NoConvergenceError with the sentence `refusal` where it does not settle or a ratio grows without
    end.
    """
    names = list(criterion.names)
    if not names:
        return {}
    rows_a_group = np.array([criterion.n_rows / groups[name] for name in names])
    scale = np.sqrt(np.array([groups[name] for name in names]) / 2)
    start = np.full(len(names), _START)
    if begun and set(names) <= set(begun):
        start = np.minimum(np.log1p(rows_a_group * [begun[name] for name in names]), _HIGHEST / 2)
    level: list[float] = []

    def scaled(place: Floats) -> tuple[float, Floats]:
        theta = place / scale
        try:
            value, gradient, _ = criterion(np.expm1(theta) / rows_a_group)
        except np.linalg.LinAlgError:
            # Far from the optimum rounding may eat the cross products up: not a place to go.
            return 1e300, np.zeros_like(place)
        level.append(value)
        return value - level[0], gradient * np.exp(theta) / rows_a_group / scale

    options = {"gtol": _SETTLED, "ftol": 0.0, "maxiter": 200, "maxls": 40}
    bounds = [(0.0, _HIGHEST * each) for each in scale]
    found = minimize(scaled, start * scale, jac=True, method="L-BFGS-B", bounds=bounds, options=options)
    slope = np.where((found.x > 0) | (found.jac < 0), found.jac, 0.0)
    # At the bottom itself a step may fail, since the criterion no longer differs beyond its rounding.
    settled = found.success or float(np.abs(slope).max()) < _NEARLY
    if not (level and settled and np.isfinite(found.fun) and (found.x < _HIGHEST * scale).all()):
        raise NoConvergenceError(refusal)
    return dict(zip(names, (np.expm1(found.x / scale) / rows_a_group).tolist(), strict=True))

"""The REML criterion of random intercepts for rider, knee and visit, profiled to their variance ratios, and its lowest point.

Cells are independent of one another given the intercepts, so that only their means m_c of n_c rows meet V: with K the inverse
of diag(1/n) + sum of ratio x (which cells share the intercept), V^-1 takes a rider's means M to M'KM, and log|V| is that of
its inverse plus the sum of log n. K is made once for riders of one kind. Source: Harville 1977, J Am Stat Assoc 72:320.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import solve_triangular
from scipy.optimize import minimize

from shared.errors import NoConvergenceError
from shared.statistics.estimability import triangle
from shared.statistics.mixed.riders import Grouped, Shape

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# The search runs on theta = log(1 + m ratio), m the mean number of rows a group, times the root of half the groups: the
# boundary stays at 0, the slope there does not vanish as it would for standard deviations, and curvature is about one.
_START, _HIGHEST = 1.0, 18.0
# In these coordinates, which are theta's own standard errors: a slope that is flat enough where rounding lets it be no flatter.
_NEARLY = 1e-4
# Rounds save looks at the criterion with all terms, of which each is long where means are many. A round makes the slope about a
# tenth of what it was: so much of it may be left of its own.
_LONG, _NEARER, _MOST_ROUNDS = 1_000_000, 0.02, 10


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
    """within (p + 1, p + 1): cross products within cells of the columns and, last, the outcome; means: of all riders; degrees:
    rows less terms."""

    names: Sequence[str]
    within: Floats
    means: Sequence[Means]
    degrees: int

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
        diagonal = np.log(np.diag(factor))
        value = 0.5 * logdet + float(diagonal[:-1].sum()) + self.degrees * float(diagonal[-1])
        slope = _slope(factor, self.degrees)
        for own, rows in zip(self.means, weighted, strict=True):
            seen = (rows.reshape(-1, width) @ slope).reshape(rows.shape) @ rows.transpose(0, 2, 1)
            by_kind = np.add.reduceat(seen, own.first)
            for place, name in enumerate(self.names):
                gradient[place] -= np.einsum("kij,kij->", by_kind, own.shape.same[name])
        return value, 0.5 * gradient, factor

    def of(self, contrast: Floats) -> "Criterion":
        """The criterion of one combination of the columns and the outcome (p + 1,), as if it were an outcome without terms."""
        means = [replace(own, rows=(own.rows @ contrast)[:, :, None]) for own in self.means]
        return Criterion(self.names, np.array([[contrast @ self.within @ contrast]]), means, self.degrees)


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
    p, contrast = len(factor) - 1, left_over(factor)
    inverse = np.linalg.inv(factor[:p, :p])
    slope = df / factor[p, p] ** 2 * np.outer(contrast, contrast)
    slope[:p, :p] += inverse.T @ inverse
    return np.asarray(slope)


def left_over(factor: Floats) -> Floats:
    """The contrast (p + 1,) that makes of the columns and the outcome what the estimate leaves of the outcome."""
    p = len(factor) - 1
    return np.append(-solve_triangular(factor[:p, :p], factor[p, :p], lower=True, trans=1), 1.0) if p else np.ones(1)


Curve = Callable[[Floats], tuple[float, Floats]]


def best_ratios(
    criterion: Criterion, groups: Mapping[str, int], refusal: str, begun: Mapping[str, float] | None = None
) -> tuple[dict[str, float], float, Floats]:
    """The ratio of each intercept at the lowest criterion, exactly 0 at the boundary; the criterion there, and its factor.

    groups: how many each intercept has; begun: ratios to begin at, where all are known. By scipy's bounded search, where means
    are many by rounds: what the terms add to the slope hardly turns with the ratios, and what the estimate leaves of the
    outcome is one column, so that each round takes both as they are, goes to the lowest point that they tell of, and looks at
    the criterion itself there. It ends where that is flat.
    Raises NoConvergenceError with the sentence `refusal` where that does not come or a ratio grows without end.
    """
    names = list(criterion.names)
    rows_a_group = np.array([(criterion.degrees + len(criterion.within) - 1) / groups[name] for name in names])
    scale = np.sqrt(np.array([groups[name] for name in names]) / 2)
    start = np.full(len(names), _START)
    if begun and set(names) <= set(begun):
        start = np.minimum(np.log1p(rows_a_group * [begun[name] for name in names]), _HIGHEST / 2)

    def ratios_at(place: Floats) -> Floats:
        return np.asarray(np.expm1(place / scale) / rows_a_group)

    def seen(of: Criterion, place: Floats) -> tuple[float, Floats, Floats]:
        value, gradient, factor = of(ratios_at(place))
        return value, gradient * np.exp(place / scale) / rows_a_group / scale, factor

    def one_column(contrast: Floats) -> Curve:
        own = criterion.of(contrast)
        return lambda place: seen(own, place)[:2]

    rounds = _MOST_ROUNDS if sum(own.rows.size for own in criterion.means) > _LONG else 0
    place, value, factor = _lowest(lambda at: seen(criterion, at), one_column, start * scale, _HIGHEST * scale, rounds, refusal)
    return dict(zip(names, ratios_at(place).tolist(), strict=True)), value, factor


def _lowest(
    seen: Callable[[Floats], tuple[float, Floats, Floats]],
    one_column: Callable[[Floats], Curve],
    place: Floats,
    highest: Floats,
    rounds: int,
    refusal: str,
) -> tuple[Floats, float, Floats]:
    """The place, value and factor where the criterion is flat, or rises from a bound; by rounds first, so many at most."""
    try:
        value, gradient, factor = seen(place)
        # Nearer to its lowest point the criterion does not differ beyond its rounding.
        settled = float(np.sqrt(np.finfo(float).eps * max(abs(value), 1.0)))
        for _ in range(rounds):
            slope = _steepest(place, gradient)
            if slope < settled:
                return place, value, factor
            curve = one_column(left_over(factor))
            moved = bounded(curve, place, gradient - curve(place)[1], highest, max(_NEARER * slope, settled / 10))
            found = seen(moved)
            if found[0] > value + 1e-12 * abs(value):
                break
            place, (value, gradient, factor) = moved, found
        if _steepest(place, gradient) >= settled:
            place = bounded(lambda at: seen(at)[:2], place, np.zeros(len(place)), highest, settled / 5)
            value, gradient, factor = seen(place)
    except np.linalg.LinAlgError as fault:
        raise NoConvergenceError(refusal) from fault
    if _steepest(place, gradient) > _NEARLY or (place >= highest).any():
        raise NoConvergenceError(refusal)
    return place, value, factor


def _steepest(place: Floats, gradient: Floats) -> float:
    """The largest slope that is not stopped by the bound at 0 (Kuhn and Tucker's condition)."""
    return float(np.abs(np.where((place > 0) | (gradient < 0), gradient, 0.0)).max(initial=0.0))


def bounded(curve: Curve, start: Floats, tilt: Floats, highest: Floats, settled: float) -> Floats:
    """The lowest place between 0 and `highest` (k,) of a curve plus tilt x place, by scipy's L-BFGS-B, to a slope that is
    settled; one at a bound is exactly there."""
    first = curve(start)[0]

    def tilted(place: Floats) -> tuple[float, Floats]:
        try:
            value, gradient = curve(place)
        except np.linalg.LinAlgError:
            # Far from the lowest point rounding may eat the cross products up: not a place to go.
            return 1e300, np.zeros_like(place)
        return value - first + float(tilt @ (place - start)), gradient + tilt

    options = {"gtol": settled, "ftol": 0.0, "maxiter": 200, "maxls": 40}
    bounds = [(0.0, float(most)) for most in highest]
    return np.asarray(minimize(tilted, start, jac=True, method="L-BFGS-B", bounds=bounds, options=options).x)

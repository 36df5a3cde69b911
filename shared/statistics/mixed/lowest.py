"""The lowest point of a criterion between bounds: scipy's bounded search, and rounds that save long looks at the criterion."""

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

from shared.errors import NoConvergenceError

Floats = NDArray[np.float64]
Curve = Callable[[Floats], tuple[float, Floats]]

# Places are given in units of their own standard errors: a slope that is flat enough where rounding lets it be no flatter.
_NEARLY = 1e-4
# Of its own slope a round may leave this share.
_NEARER = 1e-3
# Up to this slope steps of Newton's go to the lowest point, by slopes alone: there the values differ by rounding only.
_NEAR, _STEP = 0.3, 1e-2


def lowest(
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
        bend = np.zeros((len(place), len(place)))
        for _ in range(rounds):
            slope = _steepest(place, gradient)
            if slope < settled / 10:
                return place, value, factor
            curve = one_column(factor)
            tilt = gradient - curve(place)[1]
            moved = None if slope > _NEAR else stepped(curve, place, tilt, highest, bend)
            moved = bounded(curve, place, tilt, highest, max(_NEARER * slope, settled / 10), bend) if moved is None else moved
            found = seen(moved)
            if found[0] > value + 1e-12 * abs(value):
                break
            bend = _corrected(bend, moved - place, found[1] - curve(moved)[1] - tilt)
            place, (value, gradient, factor) = moved, found
        if _steepest(place, gradient) >= (settled if rounds else settled / 10):
            place = bounded(lambda at: seen(at)[:2], place, np.zeros(len(place)), highest, settled / 10)
            value, gradient, factor = seen(place)
    except np.linalg.LinAlgError as fault:
        raise NoConvergenceError(refusal) from fault
    if _steepest(place, gradient) > _NEARLY or (place >= highest).any():
        raise NoConvergenceError(refusal)
    return place, value, factor


def _corrected(bend: Floats, moved: Floats, missed: Floats) -> Floats:
    """The bend (k, k) of what a round took as straight, after a move (k,) at whose end the slope was `missed` (k,) by it: the
    symmetric update of rank one (Nocedal & Wright 2006, Numerical Optimization, 6.2)."""
    rest = missed - bend @ moved
    along = float(rest @ moved)
    if abs(along) <= 1e-8 * float(np.linalg.norm(rest) * np.linalg.norm(moved)):
        return bend
    return np.asarray(bend + np.outer(rest, rest) / along)


def _steepest(place: Floats, gradient: Floats) -> float:
    """The largest slope that is not stopped by the bound at 0 (Kuhn and Tucker's condition)."""
    return float(np.abs(np.where((place > 0) | (gradient < 0), gradient, 0.0)).max(initial=0.0))


def bounded(curve: Curve, start: Floats, tilt: Floats, highest: Floats, settled: float, bend: Floats | None = None) -> Floats:
    """The lowest place between 0 and `highest` (k,) of a curve plus tilt x move plus half the move's square by `bend` (k, k),
    by scipy's L-BFGS-B, to a slope that is settled; one at a bound is exactly there."""
    first = curve(start)[0]
    bend = np.zeros((len(start), len(start))) if bend is None else bend

    def tilted(place: Floats) -> tuple[float, Floats]:
        try:
            value, gradient = curve(place)
        except np.linalg.LinAlgError:
            # Far from the lowest point rounding may eat the cross products up: not a place to go.
            return 1e300, np.zeros_like(place)
        moved = place - start
        bent = bend @ moved
        return value - first + float((tilt + bent / 2) @ moved), gradient + tilt + bent

    options = {"gtol": settled, "ftol": 0.0, "maxiter": 200, "maxls": 40}
    bounds = [(0.0, float(most)) for most in highest]
    return np.asarray(minimize(tilted, start, jac=True, method="L-BFGS-B", bounds=bounds, options=options).x)


def stepped(curve: Curve, start: Floats, tilt: Floats, highest: Floats, bend: Floats) -> Floats | None:
    """The same place by two steps of Newton's from near to it, with curvature by differences; None where a bound is met."""
    place, free = start, start > 0
    for _ in range(2):
        slope = curve(place)[1]
        bent = np.array([curve(place + own)[1] - slope for own in _STEP * np.eye(len(place))]) / _STEP
        bent = (bent + bent.T) / 2 + bend
        full = (slope + tilt + bend @ (place - start))[free]
        if (~free & (slope + tilt < 0)).any() or np.linalg.eigvalsh(bent).min() <= 0:
            return None
        place = place.copy()
        place[free] -= np.linalg.solve(bent[np.ix_(free, free)], full)
        if (place[free] <= 0).any() or (place >= highest).any():
            return None
    return place

"""The lowest point of a criterion between bounds, by Newton's steps; by scipy's bounded search where these do not serve."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

from shared.errors import NoConvergenceError

Floats = NDArray[np.float64]

# Places are given in units of their own standard errors: a slope that is flat enough where rounding lets it be no flatter.
_NEARLY = 1e-4
# Steps from afar are shortened twice at most; curvature is about one, and taken as no less than this.
_SHORTENED, _LEAST_CURVED, _MOST_STEPS = (1.0, 0.25, 0.0625), 1e-3, 20


@dataclass(frozen=True)
class Seen:
    """A criterion at one place: its value, gradient (k,), curvature (k, k), and the factor of its cross products."""

    value: float
    gradient: Floats
    curvature: Floats
    factor: Floats


def lowest(seen: Callable[[Floats], Seen], place: Floats, highest: Floats, refusal: str) -> tuple[Floats, Seen]:
    """The place where the criterion is flat, or rises from a bound, and what is seen there.

    The curvature may lack a part that hardly turns from place to place: what a step's slopes tell beyond it is added to the
    next. Raises NoConvergenceError with the sentence `refusal` where there is no such place.
    """
    try:
        now = seen(place)
        # Nearer to its lowest point the criterion does not differ beyond its rounding.
        settled = float(np.sqrt(np.finfo(float).eps * max(abs(now.value), 1.0)))
        lacking = np.zeros((len(place), len(place)))
        for _ in range(_MOST_STEPS):
            if _steepest(place, now.gradient) < settled / 10:
                return place, now
            further = _further(seen, place, now, lacking, highest)
            if further is None:
                break
            moved, found = further
            step = moved - place
            told = (now.curvature + found.curvature) / 2 @ step
            lacking = _corrected(lacking, step, found.gradient - now.gradient - told)
            place, now = moved, found
        if _steepest(place, now.gradient) >= settled:
            place = _bounded(seen, place, highest, settled / 10)
            now = seen(place)
    except np.linalg.LinAlgError as fault:
        raise NoConvergenceError(refusal) from fault
    if _steepest(place, now.gradient) > _NEARLY or (place >= highest).any():
        raise NoConvergenceError(refusal)
    return place, now


def _further(
    seen: Callable[[Floats], Seen], place: Floats, now: Seen, lacking: Floats, highest: Floats
) -> tuple[Floats, Seen] | None:
    """A place that is no higher, with what is seen there, by a step that is shortened where it must be; None without one."""
    curvature = now.curvature + lacking
    for share in _SHORTENED:
        moved = _stepped(place, now.gradient, curvature, highest, share)
        try:
            found = seen(moved)
        except np.linalg.LinAlgError:
            # Far from the lowest point rounding may eat the cross products up: not a place to go.
            continue
        if found.value <= now.value + 1e-12 * abs(now.value):
            return moved, found
    return None


def _stepped(place: Floats, gradient: Floats, curvature: Floats, highest: Floats, share: float) -> Floats:
    """The end of a share of Newton's step; who would go below 0 stays there, and the others go on without."""
    free = (place > 0) | (gradient < 0)
    moved = place.copy()
    while free.any():
        values, vectors = np.linalg.eigh(curvature[np.ix_(free, free)])
        # Who was put at 0 has moved: the slope of the others is that beside it.
        slope = (gradient + curvature @ np.where(free, 0.0, moved - place))[free]
        step = vectors @ ((vectors.T @ slope) / np.maximum(np.abs(values), _LEAST_CURVED))
        moved[free] = place[free] - share * step
        below = free & (moved < 0)
        if not below.any():
            break
        moved[below] = 0.0
        free &= ~below
    return np.minimum(moved, highest)


def _corrected(lacking: Floats, moved: Floats, missed: Floats) -> Floats:
    """The part (k, k) that the curvature lacks, after a move (k,) over which the slope changed by `missed` (k,) more than it
    told: the symmetric update of rank one (Nocedal & Wright 2006, Numerical Optimization, 6.2)."""
    rest = missed - lacking @ moved
    along = float(rest @ moved)
    if abs(along) <= 1e-8 * float(np.linalg.norm(rest) * np.linalg.norm(moved)):
        return lacking
    return np.asarray(lacking + np.outer(rest, rest) / along)


def _steepest(place: Floats, gradient: Floats) -> float:
    """The largest slope that is not stopped by the bound at 0 (Kuhn and Tucker's condition)."""
    return float(np.abs(np.where((place > 0) | (gradient < 0), gradient, 0.0)).max(initial=0.0))


def _bounded(seen: Callable[[Floats], Seen], start: Floats, highest: Floats, settled: float) -> Floats:
    """The lowest place between 0 and `highest` (k,) by scipy's L-BFGS-B, to a slope that is settled; one at a bound is exactly
    there."""
    first = seen(start).value

    def curve(place: Floats) -> tuple[float, Floats]:
        try:
            found = seen(place)
        except np.linalg.LinAlgError:
            return 1e300, np.zeros_like(place)
        return found.value - first, found.gradient

    options = {"gtol": settled, "ftol": 0.0, "maxiter": 200, "maxls": 40}
    bounds = [(0.0, float(most)) for most in highest]
    return np.asarray(minimize(curve, start, jac=True, method="L-BFGS-B", bounds=bounds, options=options).x)

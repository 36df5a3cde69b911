"""The variance ratios that maximise the REML criterion: Newton's method within bounds, on an analytic gradient."""

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from shared.errors import NoConvergenceError

Floats = NDArray[np.float64]

# The search runs on theta = log(1 + m ratio), m the mean number of rows a group: curvature there is of the order of the
# number of groups, the boundary stays at 0, and the slope at it does not vanish as it would for standard deviations.
_START = 1.0
_HIGHEST = 18.0
_LONGEST_STEP = 2.0
_SETTLED = 1e-6
_DIFFERENCE = 1e-4
_MOST_STEPS, _MOST_HALVINGS = 60, 30
# Differences of the gradient give the curvature; each step then corrects it, and after this many it is taken anew.
_STEPS_A_CURVATURE = 15

Criterion = Callable[[Floats], tuple[float, Floats]]


def best_ratios(
    criterion: Criterion, rows_a_group: Floats, refusal: str, start: Floats | None = None, settled: float = _SETTLED
) -> Floats:
    """The ratios (k,) at the lowest criterion, which gives value and gradient (k,); a ratio at the boundary is exactly 0.

    A ratio rests at 0 where the gradient points outwards (Kuhn and Tucker's condition). rows_a_group (k,): scale of the search.
    start (k,): ratios to begin at. settled: the step on the scale of the search that is the last.
    Raises NoConvergenceError with the sentence `refusal` where the steps do not settle or a ratio grows without end.
    """

    def transformed(theta: Floats) -> tuple[float, Floats]:
        try:
            value, gradient = criterion(np.expm1(theta) / rows_a_group)
        except np.linalg.LinAlgError:
            # Far from the optimum rounding may eat the cross products up: not a place to go.
            return np.inf, np.zeros_like(theta)
        return value, gradient * np.exp(theta) / rows_a_group

    begin = np.full(len(rows_a_group), _START) if start is None else np.minimum(np.log1p(rows_a_group * start), _HIGHEST / 2)
    theta = _lowest(transformed, begin, refusal, settled)
    return np.asarray(np.expm1(theta) / rows_a_group)


def _lowest(criterion: Criterion, theta: Floats, refusal: str, settled: float) -> Floats:
    value, gradient = criterion(theta)
    curvature, age = curvature_of(criterion, theta, gradient), 0
    for _ in range(_MOST_STEPS):
        free = (theta > 0) | (gradient < 0)
        if not free.any():
            return theta
        step = np.zeros_like(theta)
        step[free] = -_inverse(curvature[np.ix_(free, free)]) @ gradient[free]
        step *= min(1.0, _LONGEST_STEP / max(float(np.abs(step).max()), np.finfo(float).tiny))
        wanted = float(np.abs(np.clip(theta + step, 0.0, _HIGHEST) - theta).max())
        moved, value, new_gradient = _descended(criterion, theta, value, gradient, step)
        if wanted < settled and np.isfinite(value) and (moved < _HIGHEST).all():
            return moved
        stuck = np.array_equal(moved, theta)
        if stuck and age == 0:
            break
        curvature, age = updated_curvature(curvature, moved - theta, new_gradient - gradient), age + 1
        theta, gradient = moved, new_gradient
        if stuck or age == _STEPS_A_CURVATURE:
            curvature, age = curvature_of(criterion, theta, gradient), 0
    raise NoConvergenceError(refusal)


def _descended(
    criterion: Criterion, theta: Floats, value: float, gradient: Floats, step: Floats
) -> tuple[Floats, float, Floats]:
    """Along the step within the bounds, half as far each time until the criterion does not rise beyond its rounding."""
    slack = 1e-12 * abs(value) if np.isfinite(value) else 0.0
    for _ in range(_MOST_HALVINGS):
        moved = np.clip(theta + step, 0.0, _HIGHEST)
        new_value, new_gradient = criterion(moved)
        if new_value <= value + slack:
            return moved, new_value, new_gradient
        step = step / 2
    return theta, value, gradient


def curvature_of(criterion: Criterion, theta: Floats, gradient: Floats) -> Floats:
    """Second derivatives (k, k) by differences of the gradient."""
    shifted = np.array([criterion(theta + shift)[1] for shift in _DIFFERENCE * np.eye(len(theta))])
    curvature = (shifted - gradient) / _DIFFERENCE
    return np.asarray((curvature + curvature.T) / 2)


def updated_curvature(curvature: Floats, moved: Floats, turned: Floats) -> Floats:
    """The symmetric rank-one update: the curvature then explains how the gradient turned along the last step."""
    missed = turned - curvature @ moved
    along = float(missed @ moved)
    if abs(along) <= 1e-8 * float(np.linalg.norm(missed) * np.linalg.norm(moved)):
        return curvature
    return curvature + np.outer(missed, missed) / along


def _inverse(curvature: Floats) -> Floats:
    """Inverse, turned positive where the criterion bends down, so that every step descends.

    Directions without curvature, in which the data tell two intercepts apart no longer, get no step.
    """
    values, vectors = np.linalg.eigh(curvature)
    size = np.abs(values)
    inverse = np.where(size > 1e-8 * size.max(), 1.0 / np.maximum(size, np.finfo(float).tiny), 0.0)
    return np.asarray((vectors * inverse) @ vectors.T)

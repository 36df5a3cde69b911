"""Logistic regression by Newton's steps on blocks of rows: seven passes over a million rows where a general program makes
thirty. The likelihood and its maximum are those of any other program; tests/unit compares with statsmodels' Logit."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve
from scipy.special import expit

Array = NDArray[np.float64]

_MOST_STEPS = 50
_MOST_HALVINGS = 30
# A step that moves no row's log odds by more leaves an error of its square, which is below the last digit.
_SETTLED = 1e-7
# Log odds beyond which a fitted share is 0 or 1 to seven digits, and how much of a step may lead back from there.
SEPARATED = 16.0
_BACK = 1e-3
# From twice this many rows on, every k-th row alone gives the starting point.
_ROWS_TO_START = 10_000
_ROWS_AT_A_TIME = 4096


@dataclass(frozen=True)
class Logistic:
    """coefficients (p,); log_odds (n,); has_settled: false where the steps found no maximum.

    Where the columns separate the events the steps have no end: log odds beyond SEPARATED, and not settled.
    """

    coefficients: Array
    log_odds: Array
    has_settled: bool


def logistic(events: Array, design: Array) -> Logistic:
    """The maximum of the likelihood of events (0 or 1, shape (n,)) given design (n, p), intercept included.

    Raises LinAlgError where the information is singular: tied columns, or columns that separate the events.
    Source: McCullagh & Nelder 1989, Generalized Linear Models, 2nd ed., section 4.4.
    """
    return _newton(events, design, _start(events, design))


def _start(events: Array, design: Array) -> Array:
    """Where the steps end over some of the rows, evenly taken; zero where the rows are few, or some are not enough."""
    every, zero = len(events) // _ROWS_TO_START, np.zeros(design.shape[1])
    if every < 2:
        return zero
    try:
        return _newton(events[::every], np.ascontiguousarray(design[::every]), zero).coefficients
    except np.linalg.LinAlgError:
        return zero


def _newton(events: Array, design: Array, start: Array) -> Logistic:
    coefficients, sign = start, 2 * events - 1
    log_odds = design @ coefficients
    loss = _loss(events, log_odds)
    for _ in range(_MOST_STEPS):
        chance = expit(log_odds)
        information = weighted_gram(design, chance * (1 - chance))
        step = cho_solve(cho_factor(information, check_finite=False), (events - chance) @ design)
        change = design @ step
        size = float(np.abs(change).max())
        # A full step may overshoot far from the maximum; half of it, and so on, never does.
        for _ in range(_MOST_HALVINGS):
            moved = log_odds + change
            new_loss = _loss(events, moved)
            if new_loss <= loss or size < _SETTLED:
                break
            step, change = step / 2, change / 2
        coefficients, log_odds, loss = coefficients + step, moved, new_loss
        if size < _SETTLED:
            return Logistic(coefficients, log_odds, True)
        if np.abs(log_odds).max() > SEPARATED and (sign * change).min() > -_BACK * size:
            break  # every row moves on toward its own outcome, and would for ever
    return Logistic(coefficients, log_odds, False)


def _loss(events: Array, log_odds: Array) -> float:
    """Less the log likelihood."""
    return float(np.logaddexp(0, log_odds).sum() - events @ log_odds)


def weighted_gram(design: Array, weights: Array) -> Array:
    """X' W X (p, p) of design (n, p) and weights (n,) of 0 or more, some rows at a time, to stay in the cache."""
    total = np.zeros((design.shape[1], design.shape[1]))
    roots = np.sqrt(weights)[:, None]
    for first in range(0, len(design), _ROWS_AT_A_TIME):
        here = slice(first, first + _ROWS_AT_A_TIME)
        scaled = design[here] * roots[here]
        total += scaled.T @ scaled
    return total

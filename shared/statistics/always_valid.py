"""An interval that may be looked at as often as anybody likes, of a comparison that is still being drawn."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from shared.errors import TooFewError

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class AlwaysValid:
    """Second arm less first over whole blocks, its always-valid interval, and the p-value that holds at whichever look."""

    estimate: float
    low: float
    high: float
    p_value: float
    n_blocks: int


def always_valid(
    outcome: Floats, is_second: NDArray[np.bool_], block: NDArray[np.int64], level: float, tuned_for: int
) -> AlwaysValid:
    """The asymptotic confidence sequence of the effect as it stands after the last of these blocks, all of them drawn whole.

    outcome: one value a draw; block: its block's number; a draw whose capture is missing is left out. tuned_for: at how many
    blocks it is to be narrowest, fixed when the comparison is opened. The estimate is that of `drawn_effect`. Raises
    TooFewError where so few blocks bound nothing yet. Source: Waudby-Smith, Arbour, Sinha, Kennedy & Ramdas 2024, Annals of
    Statistics 52:2613, theorem 2.2. Deviation: the spread is that of the draw within the blocks, about each effect that is
    asked of (METHODS.md says why).
    """
    _, number = np.unique(block, return_inverse=True)
    size = np.bincount(number).astype(np.float64)
    arm = is_second - (np.bincount(number, is_second) / size)[number]
    centred = outcome - (np.bincount(number, outcome) / size)[number]
    # How much each block tells, its difference times that, and the spread that the draw alone gives this product.
    tells, product = np.bincount(number, arm**2), np.bincount(number, arm * centred)
    share = np.where(tells > 0, tells / np.maximum(size - 1, 1), 0.0)
    n, score, weight = int((tells > 0).sum()), float(product.sum()), float(tells.sum())
    rest = float(share @ np.bincount(number, centred**2))
    mixed, square = float(share @ product), float(share @ tells)
    if not n:
        raise TooFewError("No whole block holds a capture of each arm yet.")
    rho2 = rho_squared(1 - level, max(tuned_for, 1))
    w = n * rho2 + 1
    reach = 2 * w / (n * rho2) * float(np.log(np.sqrt(w) / (1 - level)))
    # The effects t with (score - weight t)² <= reach (rest - 2 mixed t + square t²).
    lead = weight**2 - reach * square
    if lead <= 0:
        raise TooFewError(f"{n} whole blocks so far: too few to bound anything while it is still being drawn.")
    middle = (score * weight - reach * mixed) / lead
    half = float(np.sqrt(max(middle**2 - (score**2 - reach * rest) / lead, 0.0)))
    p_value = float(np.sqrt(w) * np.exp(-n * rho2 * score**2 / (2 * w * rest))) if rest > 0 else 1.0
    return AlwaysValid(score / weight, middle - half, middle + half, min(1.0, p_value), n)


def rho_squared(alpha: float, n: int) -> float:
    """The square of the tuning with which the interval is narrowest after about n blocks."""
    two = -2 * np.log(alpha)
    return float((two + np.log(two + 1)) / n)

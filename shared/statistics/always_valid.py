"""An interval that may be looked at as often as anybody likes, of a comparison that is still being drawn."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from shared.errors import TooFewError

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class AlwaysValid:
    """Mean difference of the blocks, its always-valid interval, and the p-value that holds at whichever look."""

    estimate: float
    low: float
    high: float
    p_value: float
    n_blocks: int


def block_differences(outcome: Floats, is_second: NDArray[np.bool_], block: NDArray[np.int64]) -> Floats:
    """Mean of the second arm less mean of the first in each block that holds both, in the order of the blocks' numbers."""
    means = []
    for one in np.unique(block):
        second, first = outcome[(block == one) & is_second], outcome[(block == one) & ~is_second]
        if len(second) and len(first):
            means.append(float(second.mean() - first.mean()))
    return np.array(means, dtype=np.float64)


def always_valid(differences: Floats, level: float, tuned_for: int) -> AlwaysValid:
    """The asymptotic confidence sequence of the mean of independent differences, one a block, as it stands after the last.

    tuned_for: at how many blocks it is to be narrowest, fixed when the comparison is opened. Raises TooFewError where so few
    blocks bound nothing yet. Source: Waudby-Smith, Arbour, Sinha, Kennedy & Ramdas 2024, Annals of Statistics 52:2613, theorem
    2.2. Deviation: the spread is taken about each value that is asked of, not about the mean (METHODS.md says why).
    """
    n = len(differences)
    rho2 = rho_squared(1 - level, max(tuned_for, 1))
    weight = n * rho2 + 1
    reach2 = 2 * weight / (n**2 * rho2) * np.log(np.sqrt(weight) / (1 - level)) if n else np.inf
    if reach2 >= 1:
        raise TooFewError(f"{n} blocks with both arms so far: too few to bound anything while it is still being drawn.")
    mean, variance = float(differences.mean()), float(differences.var())
    half = float(np.sqrt(variance * reach2 / (1 - reach2)))
    square = variance + mean**2
    p_value = np.sqrt(weight) * np.exp(-(n**2) * rho2 * mean**2 / (2 * square * weight)) if square > 0 else 1.0
    return AlwaysValid(mean, mean - half, mean + half, min(1.0, float(p_value)), n)


def rho_squared(alpha: float, n: int) -> float:
    """The square of the tuning with which the interval is narrowest after about n differences."""
    two = -2 * np.log(alpha)
    return float((two + np.log(two + 1)) / n)

"""What a knee is expected to measure next: the mixed model's best linear prediction from the captures before.

A capture of a knee is a fixed part, what is the rider's and the visit's own, what is the knee's own, and noise. What was
measured before a change tells of the first three; how much of it is noise follows from the variances. So a knee that arrived at
-4 degrees is expected nearer to neutral with nothing changed.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Variances:
    """Of one outcome, in its unit squared: between riders and visits (both knees share it), between knees, and the noise of one
    capture, of which `shared` (0 to 1) is common to both knees of a capture."""

    both: float
    knee: float
    noise: float
    shared: float = 0.0


@dataclass(frozen=True)
class Before:
    """What was measured before the change, each (n,): how many captures of this knee and of the other one, and the mean of
    what each was above its fixed part; where there is no capture, the mean is not read."""

    n_own: Floats
    above_own: Floats
    n_other: Floats
    above_other: Floats


@dataclass(frozen=True)
class Expected:
    """Each (n,), in the outcome's unit: what is expected, and the standard deviation of the next capture and of the knee."""

    mean: Floats
    capture_sd: Floats
    knee_sd: Floats


def expected(fixed: Floats, before: Before, variances: Variances, effect_variance: Floats | float = 0.0) -> Expected:
    """The next capture of each knee. fixed (n,): the fixed part under the coming setup. effect_variance: of the change of the
    fixed part, since the effects of supports are known with an error only, in the unit squared.

    Source: Robinson 1991, Stat Sci 6:15 (best linear unbiased prediction).
    """
    own, other = before.n_own > 0, before.n_other > 0
    # A knee without a capture is one measured with noise beyond all bounds: its weight becomes zero.
    beyond = 1e12 * (variances.both + variances.knee + variances.noise + 1.0)
    of_own = np.where(own, variances.noise / np.maximum(before.n_own, 1), beyond)
    of_other = np.where(other, variances.noise / np.maximum(before.n_other, 1), beyond)
    common = variances.shared * variances.noise / np.maximum(np.maximum(before.n_own, before.n_other), 1)
    total = variances.both + variances.knee
    first, second, cross = total + of_own, total + of_other, variances.both + np.where(own & other, common, 0.0)
    determinant = first * second - cross**2
    weight_own = (total * second - variances.both * cross) / determinant
    weight_other = (variances.both * first - total * cross) / determinant
    mean = fixed + weight_own * np.where(own, before.above_own, 0.0) + weight_other * np.where(other, before.above_other, 0.0)
    left = np.maximum(total - weight_own * total - weight_other * variances.both, 0.0) + effect_variance
    return Expected(mean, np.sqrt(left + variances.noise), np.sqrt(left))

"""What a knee is expected to measure next: the mixed model's best linear prediction from the captures before.

A capture of a knee is a fixed part, what is the rider's and the visit's own, what is the knee's own, and noise. What was
measured before a change tells of the first three; how much of it is noise follows from the variances. So a knee that arrived at
-4 degrees is expected nearer to neutral with nothing changed.
"""

from dataclasses import dataclass
from typing import Final

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
class Unsure:
    """How unsure the fixed part is, in the outcome's unit squared, each (n,) or one for all: of the change of this knee, since
    effects of supports are known with an error only; of this knee and of the other one, where a part of the exam is not known.
    """

    change: Floats | float = 0.0
    own: Floats | float = 0.0
    other: Floats | float = 0.0


SURE: Final = Unsure()


@dataclass(frozen=True)
class Expected:
    """Each (n,), in the outcome's unit: what is expected, and the standard deviation of the next capture and of the knee."""

    mean: Floats
    capture_sd: Floats
    knee_sd: Floats


def expected(fixed: Floats, before: Before, variances: Variances, unsure: Unsure = SURE) -> Expected:
    """The next capture of each knee. fixed (n,): the fixed part under the coming setup.

    Source: Robinson 1991, Stat Sci 6:15 (best linear unbiased prediction).
    """
    own, other = before.n_own > 0, before.n_other > 0
    # A knee without a capture is one measured with noise beyond all bounds: its weight becomes zero.
    beyond = 1e12 * (variances.both + variances.knee + variances.noise + 1.0)
    of_own = np.where(own, variances.noise / np.maximum(before.n_own, 1), beyond)
    of_other = np.where(other, variances.noise / np.maximum(before.n_other, 1), beyond)
    common = variances.shared * variances.noise / np.maximum(np.maximum(before.n_own, before.n_other), 1)
    total = variances.both + variances.knee + unsure.own
    first, second = total + of_own, variances.both + variances.knee + unsure.other + of_other
    cross = variances.both + np.where(own & other, common, 0.0)
    determinant = first * second - cross**2
    weight_own = (total * second - variances.both * cross) / determinant
    weight_other = (variances.both * first - total * cross) / determinant
    mean = fixed + weight_own * np.where(own, before.above_own, 0.0) + weight_other * np.where(other, before.above_other, 0.0)
    left = np.maximum(total - weight_own * total - weight_other * variances.both, 0.0) + unsure.change
    return Expected(mean, np.sqrt(left + variances.noise), np.sqrt(left))

"""Left and right of one fit together: side differences, means over what was recorded. Pure functions of arrays."""

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

# Differences of recorded decimals: 3.3 less 1.3 must be 2, the limit itself.
_DECIMALS = 6


def side_difference(left: Floats, right: Floats) -> Floats:
    """Right less left, (n,), in the unit of both; NaN where a side is missing. Every question takes it from here."""
    return np.asarray(np.round(right - left, _DECIMALS))


def mean_of_sides(left: Floats, right: Floats) -> Floats:
    """The mean of both sides, (n,), or of the one that is there; NaN where none is."""
    mean = (left + right) / 2
    return np.where(np.isnan(left), right, np.where(np.isnan(right), left, mean))

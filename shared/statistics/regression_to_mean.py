"""What a repeat of a noisy measurement would show with nothing changed."""

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from shared.errors import TooFewError
from shared.statistics.wording import counted


def expected_distance_change(first: NDArray[np.float64], typical_error: float) -> NDArray[np.float64]:
    """The expected change in distance from zero, |second| - |first|, of each knee whose first value is known, shape (n,).

    first: (n,) of all knees, since their mean and variance count before any are picked out; typical_error in the same unit.
    Under a normal model second | first has mean m + rho (first - m) and variance s^2 (1 - rho^2) with reliability rho =
    1 - typical_error^2 / s^2, and its distance from zero is folded normal. Raises TooFewError for fewer than three knees.
    Source: Barnett, van der Pols & Dobson 2005, Int J Epidemiol 34:215 (regression to the mean from the within-person
    variance); Leone, Nelson & Nottingham 1961, Technometrics 3:543 (folded normal). Not for values far from normal.
    """
    if len(first) < 3:
        raise TooFewError(f"Not enough yet: {counted(len(first), 'knee')} at arrival, and a regression to the mean needs 3.")
    mean, variance = float(first.mean()), float(first.var(ddof=1))
    reliability = max(0.0, 1 - typical_error**2 / variance) if variance > 0 else 0.0
    centre = mean + reliability * (first - mean)
    spread = float(np.sqrt(variance * (1 - reliability**2)))
    if spread == 0:
        return np.abs(centre) - np.abs(first)
    scaled = centre / spread
    folded = spread * np.sqrt(2 / np.pi) * np.exp(-(scaled**2) / 2) + centre * (1 - 2 * stats.norm.cdf(-scaled))
    return np.asarray(folded - np.abs(first))

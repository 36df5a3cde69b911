"""Bands that follow what became of them: a little wider after a fit that fell outside, a little narrower after another.

Riders held out know of a practice that changed only what its riders before and after know together. The level that is asked of
them is therefore led: by whatever practice, however it changed, the share outside comes back to what was promised.
"""

from typing import Final

import numpy as np
from numpy.typing import NDArray

from shared.statistics.foresight.bands import Reaches

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# By how much of what a fit was off the level moves: about twenty fits are remembered. Chosen in METHODS.md.
STEP: Final = 0.05
# A band is never led further than this from what it promises, whatever happened.
LEAST, MOST = 0.5, 0.95
# Of a longer past nothing is left in the level: (1 - STEP) to this power is a millionth.
_REMEMBERED: Final = 300


def led(reaches: Reaches, outness: Floats, fit: Ints, level: float, begun: float | None = None) -> tuple[Floats, float]:
    """How far each band reached as its fit was made (n,), and the level that is asked for after the last of them.

    outness (n,): how far out each capture fell; fit (n,): whose each is, fits in the order in which they were made; level: what
    the bands promise, 0 to 1; begun: the level asked for before the first. Every fit counts once. Source: Gibbs & Candès 2021,
    Advances in Neural Information Processing Systems 34:1660 (adaptive conformal inference).
    """
    asked = level if begun is None else begun
    reached = np.empty(len(outness))
    starts = np.flatnonzero(np.diff(fit, prepend=-1))
    for start, end in zip(starts.tolist(), np.append(starts, len(fit))[1:].tolist(), strict=True):
        reached[start:end] = reach = reaches.at(asked)
        outside = float(np.mean(outness[start:end] > reach))
        asked = min(max(asked + STEP * (outside - (1 - level)), LEAST), MOST)
    return reached, asked


def level_today(reaches: Reaches, outness: Floats, fit: Ints, level: float) -> float:
    """The level to ask for so that bands hold `level` today; as in `led`, by the last fits alone."""
    starts = np.flatnonzero(np.diff(fit, prepend=-1))
    first = int(starts[-_REMEMBERED]) if len(starts) > _REMEMBERED else 0
    return led(reaches, outness[first:], fit[first:], level)[1]

"""Where ticks and labels stand on an axis."""

import math
from collections.abc import Sequence


def share_ticks(highest: float) -> list[float]:
    """Ticks of a share from nothing to the next step that reaches `highest`: tenths up to 0.4, quarters above."""
    step = 0.1 if highest <= 0.4 else 0.25
    return [step * place for place in range(max(1, math.ceil(highest / step - 1e-9)) + 1)]


def even_ticks(end: float, most: int) -> list[float]:
    """At most `most` ticks at steps of 1, 2 or 5 to either side of zero, none beyond `end` (above zero)."""
    least = 2 * end / max(most - 1, 1)
    decade = 10.0 ** math.floor(math.log10(least))
    step = next(decade * part for part in (1, 2, 5, 10) if decade * part >= least * (1 - 1e-9))
    places = math.floor(end / step + 1e-9)
    return [step * place for place in range(-places, places + 1)]


def apart(values: Sequence[float], gap: float) -> list[float]:
    """Places for labels at falling `values`, each at least `gap` below the one before, as near to its value as that allows."""
    places = list(values)
    for at in range(1, len(places)):
        places[at] = min(places[at], places[at - 1] - gap)
    # What was pushed down is shared out: all move back by half of the last one's push.
    back = (values[-1] - places[-1]) / 2 if values else 0.0
    return [place + back for place in places]

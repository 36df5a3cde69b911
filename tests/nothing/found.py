"""What is true of the loud studio, and by which claims it counts as found."""

import re
from collections.abc import Callable, Sequence
from typing import Final

from dashboard.questions.studio.headline_figures import NAMES
from tests.nothing.claims import Claim
from tests.nothing.studios import FITTER_OFF


def _told(kind: str, *words: str) -> Callable[[Sequence[Claim]], bool]:
    """Whether a claim of the kind holds all the words."""

    def found(claims: Sequence[Claim]) -> bool:
        return any(claim.kind == kind and all(word in claim.text for word in words) for claim in claims)

    return found


def _moved(figure: str) -> Callable[[Sequence[Claim]], bool]:
    """Whether a figure is said to have moved, in the charts by month, under the name that it has on every page."""
    name = f"{NAMES[figure]}: "
    return lambda claims: any(
        claim.kind == "moved" and not claim.is_echo and claim.text.startswith(name) and not _OTHER_PERIODS.search(claim.text)
        for claim in claims
    )


_OTHER_PERIODS: Final = re.compile(r"\bweek|\bquarter")
FOUND: Final = {
    # Not what brings a knee nearer to neutral: where a rig moved, and this one's did, nothing on that is claimed.
    "a shim raises the tilt": _told("effect", "One more varus shim raises the tilt"),
    "a medium insole raises the tilt": _told("effect", "A medium insole raises the tilt"),
    "a shim takes sway away": _told("effect", "One more varus shim takes sway away"),
    "stance carries the offset inward": _told("effect", "One mm of outward stance moves the knee inward"),
    "a shim does more for low arches": _told("levels differ", "One more varus shim differs between levels in tilt"),
    "comfort rises from arrival to departure": _told("comfort", "Comfort rose"),
    "comfort moved with the practice, by month": _moved("comfort_gained"),
    "riders came back more with the practice, by month": _moved("return_rate"),
    "one fitter's comfort is off": lambda claims: any(
        claim.kind == "fitter" and FITTER_OFF in claim.text and "points" in claim.text for claim in claims
    ),
    "the rig moved": _told("rig"),
}

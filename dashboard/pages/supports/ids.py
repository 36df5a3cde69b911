"""Ids of the Supports page."""

from typing import Final

NEARER: Final = "supports-nearer"
MOVED: Final = "supports-moved-words"
FOR_WHOM: Final = "supports-for-whom"
BY_DOSE: Final = "supports-by-dose"
BOTH: Final = "supports-both"
CHECKS: Final = "supports-checked"
CHANCE: Final = "supports-chance"
INFLUENCE: Final = "supports-influence"


def panel_of(outcome: str) -> str:
    """The id of the place of one outcome's picture."""
    return f"supports-{outcome}"

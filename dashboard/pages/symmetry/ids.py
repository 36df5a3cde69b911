"""Ids of the Symmetry page."""

from typing import Final

ANSWER: Final = "symmetry-answer"
SIDES: Final = "symmetry-sides"
FURTHER: Final = "symmetry-further"
LEVELS: Final = "symmetry-levels"
CHANGES: Final = "symmetry-changes"
SIDES_TABLE: Final = "symmetry-sides-table"
LIMITS: Final = "symmetry-limits"

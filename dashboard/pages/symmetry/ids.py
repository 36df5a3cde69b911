"""Ids of the Symmetry page."""

from typing import Final

# The answer, and what to do next.
LEVELS: Final = "symmetry-levels"
NEXT: Final = "symmetry-next"
# The views.
CHANGES: Final = "symmetry-changes"
SIDES: Final = "symmetry-sides"
SIDES_TABLE: Final = "symmetry-sides-table"
PATTERNS: Final = "symmetry-patterns"
LIMITS: Final = "symmetry-limits"

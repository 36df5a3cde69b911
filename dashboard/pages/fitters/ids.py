"""Ids of the Fitters page."""

from typing import Final

# The answer: the funnel, and what to do next.
FUNNEL: Final = "fitters-funnel"
NEXT: Final = "fitters-next"
TABLE: Final = "fitters-table"
# The views.
WORST: Final = "fitters-worst"
PROCESS: Final = "fitters-process"
SCATTER: Final = "fitters-scatter"
AGREEMENT: Final = "fitters-agreement"
MONTHS: Final = "fitters-months"

"""Ids of the Fitters page."""

from typing import Final

ANSWER: Final = "fitters-answer"
SCATTER: Final = "fitters-scatter"
AGREEMENT: Final = "fitters-agreement"
TABLE: Final = "fitters-table"
MONTHS: Final = "fitters-months"

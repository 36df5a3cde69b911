"""Ids of the Fitters page."""

from typing import Final

ANSWER: Final = "fitters-answer"
AGREEMENT: Final = "fitters-agreement"
TABLE: Final = "fitters-table"
MONTHS: Final = "fitters-months"

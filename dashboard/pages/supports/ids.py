"""Ids of the Supports page."""

from typing import Final

ANSWER: Final = "supports-answer"
GRID: Final = "supports-grid"
DOSE: Final = "supports-dose"
FURTHER: Final = "supports-further"

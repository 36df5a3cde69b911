"""Ids of the Supports page."""

from typing import Final

ANSWER: Final = "supports-answer"
TABLES: Final = "supports-tables"
CHECKS: Final = "supports-checks"
GRID: Final = "supports-grid"
DOSE: Final = "supports-dose"
FURTHER: Final = "supports-further"
NEUTRAL: Final = "supports-table-off-neutral"
SENTENCES = "supports-sentences"


def panel_of(outcome: str) -> str:
    """The id of the place of one outcome's picture."""
    return f"supports-{outcome}"


def table_of(shown: str) -> str:
    """The id of the table of one outcome, or of one support's doses."""
    return f"supports-table-{shown}"

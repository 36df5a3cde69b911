"""How a section of the Data page begins: its title, and whether the selection changes what it shows."""

from typing import Any, Final

from dashboard.components import html

SELECTED: Final = "Follows the selection."
WHOLE: Final = "The whole warehouse, whatever is selected."


def titled(title: str, concerns: str) -> list[Any]:
    """The section's title and what it concerns."""
    return [html.H2(title, className="section-title"), html.P(concerns, className="concerns")]

"""Ids of the Studio page."""

from typing import Final

ANSWER: Final = "studio-answer"
SINCE: Final = "studio-since"
PERIODS: Final = "studio-periods"
"""The table of the charts."""
# What this browser kept of earlier looks, and what it is given to keep of this one.
KEPT: Final = "studio-kept"
LOOK: Final = "studio-look"

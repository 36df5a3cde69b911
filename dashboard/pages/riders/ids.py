"""Ids of the Riders page."""

from typing import Final

ANSWER: Final = "riders-answer"
SEARCH: Final = "riders-search"
CAPTURES: Final = "riders-captures"

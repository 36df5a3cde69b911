"""Ids of the Data page."""

from typing import Final

ANSWER: Final = "data-answer"

"""Ids of the Studio page."""

from typing import Final

ANSWER: Final = "studio-answer"

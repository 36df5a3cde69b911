"""Ids of the Next rider page: a place a view."""

from typing import Final

ANSWER: Final = "next-answer"
ALIKE: Final = "next-alike"
RECORD: Final = "next-record"

"""Ids of the Next rider page: a place a view, the search, the form and what stands under it."""

from typing import Final

ANSWER: Final = "next-answer"
ALIKE: Final = "next-alike"
RECORD: Final = "next-record"
SEARCH: Final = "next-search"
SHEET: Final = "next-sheet"
TYPED: Final = "next-typed"

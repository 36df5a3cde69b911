"""Ids of the Next rider page: a place a view, the search, the form and what stands under it."""

from typing import Final

ANSWER: Final = "next-answer"
ALIKE: Final = "next-alike"
RECORD: Final = "next-record"
SEARCH: Final = "next-search"
SHEET: Final = "next-sheet"
TYPED: Final = "next-typed"
DRAWN: Final = "next-drawn"
DRAW_SHEET: Final = "next-draw-sheet"
DRAW_TOLD: Final = "next-draw-told"
LEAD_SHEET: Final = "next-lead-sheet"
LEAD_TOLD: Final = "next-lead-told"
CLOSE_SHEET: Final = "next-close-sheet"
CLOSE_TOLD: Final = "next-close-told"

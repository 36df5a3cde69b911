"""Ids of the Riders page: a place a view, the search, the table of captures."""

from typing import Final

ANSWER: Final = "riders-answer"
ALL: Final = "riders-all"
FITS: Final = "riders-fits"
EXAM: Final = "riders-exam"
RATED: Final = "riders-rated"
SEARCH: Final = "riders-search"
CAPTURES: Final = "riders-captures"

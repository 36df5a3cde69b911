"""Ids of what stands on every page."""

from typing import Final

URL: Final = "url"
VIEW: Final = "view"
THEME: Final = "theme"
THEME_BUTTON: Final = "theme-button"
NAVIGATION: Final = "navigation"
PAGE: Final = "page"
PAGE_TITLE: Final = "page-title"
TABS: Final = "view-tabs"
"""The links to the views of a page."""
FILTER_BAR: Final = "filter-bar"
FILTERS: Final = "filters"
MORE: Final = "more-filters"
RESET: Final = "reset"
SPLIT: Final = "split-control"
CHOSEN: Final = "chosen"
AGE: Final = "age"
"""How old the newest row is, where that must be known before reading on."""


def control(word: str) -> str:
    """The control of one word of the selection."""
    return f"filter-{word}"

"""The Supports page: what brings a knee nearer to neutral, and for whom; its views each ask what they show."""

from dashboard.components.page import Page
from dashboard.pages.supports import answer, by_dose, for_whom, trust, what_moved_it
from dashboard.pages.supports.asked import PATH

# Where what stood on one long page is now.
_MOVED = {
    "#supports-tables": what_moved_it.VIEW.path,
    "#supports-sentences": what_moved_it.VIEW.path,
    "#supports-grid": for_whom.VIEW.path,
    "#supports-dose": by_dose.VIEW.path,
    **dict.fromkeys(
        ("#supports-checks", "#supports-further", "#disagree", "#neutral", "#responders", "#influence"), trust.VIEW.path
    ),
    "outcome": what_moved_it.VIEW.path,
}
PAGE = Page(
    PATH,
    "Supports",
    "What brings a knee nearer to neutral, and for whom?",
    answer.head,
    (answer.VIEW, what_moved_it.VIEW, for_whom.VIEW, by_dose.VIEW, trust.VIEW),
    _MOVED,
)

"""The Returns page: its answer and views; to the front desk, its calls alone."""

from dataclasses import replace
from typing import Final

from dashboard.components.page import Page, PageView
from dashboard.pages.returns import answer, by_group, calls, said, what_lasted, worth
from dashboard.pages.returns.asked import PATH

PAGE: Final = Page(
    PATH,
    "Returns",
    "Do riders come back, and does the fit hold?",
    answer.head,
    (
        PageView("", "Answer", answer.layout, answer.shows),
        PageView("calls", "Calls", calls.layout, calls.shows),
        PageView("what-lasted", "What lasted", what_lasted.layout, what_lasted.shows),
        PageView("said", "What riders said", said.layout, said.shows),
        PageView("worth-it", "Worth it", worth.layout, worth.shows),
        PageView("by-group", "By group", by_group.layout, by_group.shows, splits=True),
    ),
    moved={"#returns-lasting": "what-lasted", "#returns-kept": "what-lasted", "#returns-points": "said"},
)
# What the front desk sees of it.
DESK_PAGE: Final = replace(PAGE, name="Calls", question="Whom do we call today?", views=PAGE.views[1:2], moved={})

"""The Next rider page: its answer and views."""

from typing import Final

from dashboard.components.page import Page, PageView
from dashboard.pages.next_rider import alike, answer, foreseen_so_far, ids
from dashboard.pages.next_rider.asked import PATH

PAGE: Final = Page(
    PATH,
    "Next rider",
    "What tended to follow for feet like these?",
    answer.head,
    (
        PageView("", "Answer", lambda: [ids.ANSWER], answer.shows),
        PageView("riders-like-this-one", "Riders like this one", lambda: [ids.ALIKE], alike.shows),
        PageView("how-well-foreseen", "How well foreseen so far", lambda: [ids.RECORD], foreseen_so_far.shows),
    ),
)

"""The Next rider page: its answer and views."""

from typing import Final

from dashboard.components.page import Page, PageView
from dashboard.components.rider_search import registering
from dashboard.pages.next_rider import alike, answer, by_hand, drawn_orders, foreseen_so_far, ids
from dashboard.pages.next_rider.asked import PATH

PAGE: Final = Page(
    PATH,
    "Next rider",
    "What tended to follow for feet like these?",
    answer.head,
    (
        PageView("", "Answer", answer.layout, answer.shows, register=registering(ids.SEARCH, PATH)),
        PageView(by_hand.VIEW_PATH, "By hand", by_hand.layout, register=by_hand.register),
        PageView("riders-like-this-one", "Riders like this one", lambda: [ids.ALIKE], alike.shows),
        PageView("how-well-foreseen", "How well foreseen so far", lambda: [ids.RECORD], foreseen_so_far.shows),
        drawn_orders.VIEW,
    ),
)

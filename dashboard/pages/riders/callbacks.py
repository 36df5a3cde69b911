"""The Riders page: its answer and views."""

from typing import Final

from dashboard.components.page import Page, PageView
from dashboard.components.rider_search import registering
from dashboard.pages.riders import answer, exam, fit_by_fit, ids, listing, ratings_and_bicycle
from dashboard.pages.riders.told import FITS_PATH, PATH

PAGE: Final = Page(
    PATH,
    "Riders",
    "What happened to this rider, and did it hold?",
    answer.head,
    (
        PageView("", "Answer", answer.layout, answer.shows, register=registering(ids.SEARCH, PATH)),
        PageView(FITS_PATH, "Fit by fit", fit_by_fit.layout, fit_by_fit.shows),
        PageView(exam.PATH, "Exam", exam.layout, exam.shows),
        PageView(ratings_and_bicycle.PATH, "Ratings and bicycle", ratings_and_bicycle.layout, ratings_and_bicycle.shows),
        PageView("all", "All riders", listing.layout, listing.shows),
    ),
    moved={"#riders-captures": FITS_PATH, "#fit": FITS_PATH, "look": "all", "start": "all"},
)

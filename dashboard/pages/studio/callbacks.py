"""The Studio page: how was last month, and what now?"""

from dashboard.components.page import Page
from dashboard.pages.studio import answer, figures, over_time, studios, tasks
from dashboard.pages.studio.head import head

NAME = "Studio"
QUESTION = "How was last month, and what now?"
PAGE = Page(
    "",
    NAME,
    QUESTION,
    head,
    (answer.VIEW, over_time.VIEW, studios.VIEW, figures.VIEW, tasks.VIEW),
    moved={"every": "over-time", "#studio-periods": "over-time", "#studio-since": ""},
)

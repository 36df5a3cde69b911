"""What the rider said at the chosen fit and its follow-up, the bicycle, and what became of the bookings."""

from typing import Any, Final

from dashboard.components import html
from dashboard.components.chart import reading
from dashboard.components.notes import data_note
from dashboard.components.page import Desk, Show
from dashboard.pages.riders import ids
from dashboard.pages.riders.tables import BIKE, FOLLOW_UPS, RATINGS, VERDICT, or_none
from dashboard.pages.riders.told import Told, showing

PATH: Final = "ratings-and-bicycle"


def layout() -> list[Any]:
    return [ids.RATED]


def shows(desk: Desk) -> dict[str, Show]:
    return showing(desk, ids.RATED, PATH, _rated)


def _rated(told: Told) -> list[Any]:
    own = told.own()
    is_judged = any(row.verdict for row in own["ratings"])
    parts = [
        or_none(
            "What the rider said, 0 to 10",
            [*RATINGS, VERDICT] if is_judged else RATINGS,
            own["ratings"],
            "No rating is recorded at this fit.",
            "riders-ratings",
        ),
        *([reading(html.P(told.answer.worth_words), *told.words("worth"))] if is_judged else ()),
        or_none("Bicycle", BIKE, own["bike"], "No measure of the bicycle is recorded at this fit.", "riders-bicycle"),
        or_none(
            "Follow-up of this fit", FOLLOW_UPS, own["follow_ups"], "No follow-up of this fit was booked.", "riders-follow-ups"
        ),
    ]
    return [html.Div(parts, className="fit-parts"), data_note(told.answer)]

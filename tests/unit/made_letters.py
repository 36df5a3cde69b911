"""A letter made by hand, its charts without a drawing."""

from typing import Any

from dashboard.letters.content import Letter, Line, Picture

FIGURE: dict[str, Any] = {"data": [], "layout": {"height": 100}}


def made_letter(**given: Any) -> Letter:
    """A letter to the owner in which comfort is better and the rest unclear."""
    made: dict[str, Any] = {
        "role": "owner",
        "title": "July 2026, beside June: 1 better, 3 no clear change",
        "headline": "July 2026 was better in comfort gained.",
        "better": (Line("Comfort gained: better, 0.4 points more than in June, 0.1 to 0.7.", "https://s.example/"),),
        "worse": (),
        "unclear": (Line("Fits seen again in time: no clear change from June, 2 points (−9 to 13)."),),
        "todo": (Line("19 calls due today", "https://s.example/returns/calls"),),
        "notes": (),
        "pictures": (Picture(FIGURE, "Comfort", "A dot is a month.", "Comfort rose to 1.8 points."),),
        "signals": (),
        "selected": "50 fits.",
        "made": "31 Aug 2026",
        "cautions": ("No medical advice.",),
        "href": "https://s.example/",
    }
    return Letter(**{**made, **given})

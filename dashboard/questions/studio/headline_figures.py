"""The studio's four headline figures in their order, and the processes beside them: names, which way is better, in words."""

from typing import Final

# The one name of each figure, on every page and in every sentence.
HEADLINE: Final = {
    "comfort_gained": "Comfort gained",
    "side_difference_left": "Fits with a side difference left",
    "return_rate": "Fits seen again in time",
    "knees_better": "Knees better at departure",
}
NAMES: Final = {
    **HEADLINE,
    "booked": "Follow-ups booked",
    "repeat_capture": "Repeat captures taken",
    "captures_per_fit": "Captures a fit",
}

# 1: more is better; -1: less is. A figure that is not here is neither.
BETTER: Final = {
    "comfort_gained": 1,
    "side_difference_left": -1,
    "return_rate": 1,
    "knees_better": 1,
    "booked": 1,
    "repeat_capture": 1,
}
NO_CLEAR_CHANGE: Final = "no clear change"
NOT_ENOUGH: Final = "not enough yet"
NOT_RECORDED: Final = "not recorded"


def judged(figure: str, direction: int) -> str:
    """better, worse or no clear change, for a direction that may be claimed (1, -1, or 0 for none)."""
    side = direction * BETTER.get(figure, 0)
    return "better" if side > 0 else "worse" if side < 0 else NO_CLEAR_CHANGE

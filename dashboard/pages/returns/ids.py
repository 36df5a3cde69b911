"""Ids of the Returns page: a place a view, and the tables that are folded under its charts."""

from typing import Final

ANSWER: Final = "returns-answer"
CALLS: Final = "returns-calls"
LASTED: Final = "returns-lasted"
SAID: Final = "returns-told"
GROUPS: Final = "returns-groups"
STEPS: Final = "returns-steps"
LASTING: Final = "returns-lasting"
KEPT: Final = "returns-kept"
POINTS: Final = "returns-points"
WORTH: Final = "returns-worth"

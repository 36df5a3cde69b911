"""Ids of the Returns page."""

from typing import Final

ANSWER: Final = "returns-answer"
STEPS: Final = "returns-steps"
LASTING: Final = "returns-lasting"
KEPT: Final = "returns-kept"
POINTS: Final = "returns-points"

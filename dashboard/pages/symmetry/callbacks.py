"""The Symmetry page: asks `asymmetry` by the split, foot type unless another is chosen, and `sides` for the scatter."""

from dashboard.components.page import Page
from dashboard.pages.symmetry import answer, became, left_right, limits, patterns
from dashboard.pages.symmetry.asked import NAME, PATH, QUESTION

PAGE = Page(
    PATH,
    NAME,
    QUESTION,
    answer.head,
    (answer.VIEW, became.VIEW, left_right.VIEW, patterns.VIEW, limits.VIEW),
    moved={
        "#symmetry-changes": became.PATH,
        "#symmetry-sides": left_right.PATH,
        "#symmetry-sides-table": left_right.PATH,
        "#symmetry-further": patterns.PATH,
        "#symmetry-limits": limits.PATH,
    },
)

"""Where the panels of a timeline stand, and how high each is."""

from dataclasses import dataclass
from typing import Final

# Heights in px from the top: fits' dates, each panel with a gap below it for the next title, one row of changes a side,
# capture numbers.
DATES_PX, GAP_PX, ROW_PX, BOTTOM_PX = 58, 40, 24, 26
PANELS_PX: Final = {"tilt": 200, "sway": 130}
# A panel that stands alone is lower, so that the answer stands on one screen.
ALONE_PX: Final = 130


@dataclass(frozen=True)
class Frame:
    """Which panels stand below each other, and how high each is in px; one alone stands without the rows of changes."""

    panels: tuple[str, ...]

    def height_of(self, panel: str) -> int:
        return PANELS_PX[panel] if self.is_whole else ALONE_PX

    def top_of(self, panel: str) -> int:
        """From the top of the first panel; the rows of changes stand below all panels."""
        above = self.panels[: self.panels.index(panel)] if panel in self.panels else self.panels
        return sum(self.height_of(one) + GAP_PX for one in above)

    @property
    def is_whole(self) -> bool:
        return len(self.panels) > 1

    @property
    def drawn_px(self) -> int:
        return self.top_of("changes") + 2 * ROW_PX if self.is_whole else ALONE_PX

    def domain(self, panel: str) -> list[float]:
        height = self.height_of(panel) if panel in self.panels else 2 * ROW_PX
        return [1 - (self.top_of(panel) + height) / self.drawn_px, 1 - self.top_of(panel) / self.drawn_px]

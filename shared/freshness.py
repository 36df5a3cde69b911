"""How old the newest row of a warehouse is, and from when on that is said at the top of every page, report and answer."""

from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any, Final

from shared.clock import spoken_day
from shared.settings import Settings

# The newest date of what was done: sessions, captures, bookings made and attended; a day that a booking is due lies ahead.
NEWEST_ROW: Final = Path(__file__).with_name("newest_row.sql")
# Of each studio, by the fits that it has had.
NEWEST_BY_STUDIO: Final = Path(__file__).with_name("newest_by_studio.sql")


@dataclass(frozen=True)
class Freshness:
    """The date of the newest row (None: no row yet) beside today's; old from more than `stale_after_days` on.

    `is_of_demo`: today is told by the demo's own clock.
    """

    newest_row: date | None
    today: date
    stale_after_days: int
    is_of_demo: bool = False

    @property
    def age_days(self) -> int | None:
        """Days from the newest row to today; below 0 where the clock is behind the data; None without a row."""
        return None if self.newest_row is None else (self.today - self.newest_row).days

    @property
    def is_stale(self) -> bool:
        return self.age_days is not None and self.age_days > self.stale_after_days

    @property
    def is_clock_behind(self) -> bool:
        """Whether the machine's clock says a day before the newest row: then nothing can be told of today."""
        return self.age_days is not None and self.age_days < 0

    @property
    def words(self) -> str:
        """What a reader must know before reading on; empty where the data are of these days."""
        if self.newest_row is None or not (self.is_stale or self.is_clock_behind):
            return ""
        newest = spoken_day(self.newest_row)
        if self.is_clock_behind:
            return f"This machine's clock says {spoken_day(self.today)}, but the newest row is of {newest}."
        return f"The newest row is of {newest}, {self.age_days:,} day{'' if self.age_days == 1 else 's'} ago."

    @property
    def clock_words(self) -> str:
        """By which clock today is told, where that is not the machine's; empty otherwise."""
        return f"{self.today_words}." if self.is_of_demo else ""

    @property
    def today_words(self) -> str:
        """Which day it is, by the demo's own clock or the machine's."""
        return f"{self._whose} {spoken_day(self.today)}"

    @property
    def _whose(self) -> str:
        return "The demo's today is" if self.is_of_demo else "Today is"

    @property
    def told(self) -> str:
        """All that is said before an answer: the clock, the age, and what to do about it."""
        return " ".join(filter(None, (self.clock_words, self.words, self.todo if self.words else "")))

    @property
    def todo(self) -> str:
        """What to do about it."""
        return "Set the clock right, or mend the dates." if self.is_clock_behind else "Load newer exports."

    def as_dict(self) -> dict[str, Any]:
        """What an answer printed for programs says of it."""
        return {
            "newest_row": self.newest_row,
            "today": self.today,
            "age_days": self.age_days,
            "stale_after_days": self.stale_after_days,
            "is_stale": self.is_stale,
        }


def freshness(newest_row: date | None, today: date, settings: Settings, *, is_of_demo: bool = False) -> Freshness:
    """How old the newest row is today, by the studio's own limit."""
    return Freshness(newest_row, today, settings.data.stale_after_days, is_of_demo)

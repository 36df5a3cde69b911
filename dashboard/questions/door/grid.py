"""The selections whose figures a reader gets who may not see cases: few and fixed, so that nobody can choose two of them that
differ by one rider.

A cell is all fits, a calendar year or quarter, or one value of one word (a studio, a kind of visit). Each ends where the last
closed quarter ends: one whose fits have nothing to wait for any more, so that what comes in tomorrow is in no cell yet.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta
from functools import cached_property
from typing import Any

from dashboard.questions.selection.calendar import first_day, quarter_of
from dashboard.questions.selection.scope import spoken_day
from dashboard.questions.selection.selection import Selection
from shared.errors import NotReleasedError
from shared.settings import Settings

# The words of which one value may be chosen, in the order in which cells are given out.
WORDS = ("studio", "visit_kind", "bike_kind", "riding", "side", "arch_height", "forefoot")
_WHY = "The studio's figures are given to a fitter for whole groups only, so that no two of them tell one rider's values apart."
_OWN = "Your own fits are open in every selection: choose yourself as the fitter."


@dataclass(frozen=True)
class Grid:
    """The cells of one snapshot. `first`, `last`: days of the data; `closed`: the last day of the last closed quarter, None
    without one; `values`: those of each of WORDS."""

    first: date | None
    last: date | None
    closed: date | None
    values: Mapping[str, tuple[str, ...]]

    @cached_property
    def families(self) -> dict[str, tuple[Selection, ...]]:
        """The cells by what parts them: all fits first, then years, quarters and each word. Empty before a quarter closes."""
        if self.first is None or self.closed is None:
            return {}
        whole = Selection(date_to=self.closed)
        years = range(self.first.year, self.closed.year + 1)
        quarters = range(quarter_of(self.first), quarter_of(self.closed) + 1)
        return {
            "all": (whole,),
            "year": tuple(_between(date(year, 1, 1), min(date(year, 12, 31), self.closed)) for year in years),
            "quarter": tuple(_between(*days_of(quarter)) for quarter in quarters),
            **{word: tuple(_with(whole, word, value) for value in self.values[word]) for word in WORDS},
        }

    @cached_property
    def family_of(self) -> dict[Selection, str]:
        """The first family that each cell belongs to: a year of which one quarter is closed is a year."""
        found: dict[Selection, str] = {}
        for name, cells in self.families.items():
            for cell in cells:
                found.setdefault(cell, name)
        return found

    def cell(self, asked: Selection, own: Selection) -> Selection:
        """The cell that a selection asks for, its split left aside; an end that is open, or is the data's, is the closed day.

        Raises NotReleasedError, with the nearest cell and `own`, where it asks for none.
        """
        if self.closed is None:
            raise NotReleasedError(f"{_WHY} No calendar quarter is closed yet. {_OWN}", None, own.query())
        whole, found = self.families["all"][0], self._ended(asked)
        if found in self.family_of:
            return found
        raise NotReleasedError(
            f"{_WHY} Choose all fits, one calendar year or quarter up to {spoken_day(self.closed)}, or one value of one filter "
            f"({', '.join(word.replace('_', ' ') for word in WORDS)}). {_OWN}",
            replace(next(self._nearest(found), whole), split=asked.split).query(),
            own.query(),
        )

    def _ended(self, asked: Selection) -> Selection:
        """The selection with its open ends closed; one that begins before the data begins with them."""
        assert self.first is not None and self.last is not None and self.closed is not None
        start = asked.date_from
        end = self.closed if asked.date_to is None or asked.date_to >= self.last else asked.date_to
        if start is not None and start <= self.first and end == self.closed:
            start = None
        if start is None and end < self.closed:
            # The data's first year, or where that ends later, their first quarter.
            begins = (cell.date_from for name in ("year", "quarter") for cell in self.families[name][:1] if cell.date_to == end)
            start = next(begins, None)
        return replace(asked, date_from=start, date_to=end, split=None)

    def _nearest(self, asked: Selection) -> Iterator[Selection]:
        """The quarter and the year in which the selection begins, then its filters one by one."""
        whole = self.families["all"][0]
        day = asked.date_from or (asked.date_to if asked.date_to != self.closed else None)
        for cell in (*self.families["quarter"], *self.families["year"]) if day else ():
            if day and cell.date_from and cell.date_to and cell.date_from <= day <= cell.date_to:
                yield cell
        for word in WORDS:
            for value in getattr(asked, word):
                if (cell := _with(whole, word, value)) in self.family_of:
                    yield cell


def closed_day(first: date | None, last: date | None, settings: Settings) -> date | None:
    """The last day of the last calendar quarter whose fits were all followed by `last`, the data's last day, for as long as a
    figure follows a fit; None where no fit's was."""
    if first is None or last is None:
        return None
    window = settings.follow_up
    followed = max(window.curve_days, window.returned_within_days, window.booked_within_days)
    closed = days_of(quarter_of(last - timedelta(days=followed - 1)))[0] - timedelta(days=1)
    return closed if closed >= first else None


def days_of(quarter: int) -> tuple[date, date]:
    """The first and the last day of a quarter, counted from 1970."""
    return first_day(quarter, "quarter"), first_day(quarter + 1, "quarter") - timedelta(days=1)


def _between(start: date, end: date) -> Selection:
    return Selection(date_from=start, date_to=end)


def _with(whole: Selection, word: str, value: str) -> Selection:
    chosen: dict[str, Any] = {word: (value,)}
    return replace(whole, **chosen)

"""The spans of the calendar that the filter bar offers as links: each sets the dates and leaves the other words as they are.

They follow today's date. The Studio page answers for the last full month where no dates are chosen, and for all dates where its
own word says so; on every other page no dates are all dates.
"""

from dataclasses import dataclass, replace
from datetime import date
from typing import Final

from dash import dcc

from dashboard.components import html
from dashboard.components.address import SPAN, Addresses, View
from dashboard.components.choices import choice
from dashboard.questions.selection.selection import Selection
from dashboard.questions.selection.spans import last_month, last_quarter, this_quarter, this_year
from shared.clock import spoken_day
from shared.freshness import Freshness

LAST_MONTH: Final = "Last month"


@dataclass(frozen=True)
class Chip:
    """A span of time by its name; its last day is left open where the span is still running, both are where it is all dates."""

    name: str
    first: date | None = None
    last: date | None = None

    def is_of(self, selection: Selection) -> bool:
        """Whether the selection asks for this span."""
        return (selection.date_from, selection.date_to) == (self.first, self.last)

    def of(self, selection: Selection) -> Selection:
        """The selection with this span's dates."""
        return replace(selection, date_from=self.first, date_to=self.last)


def chips_of(today: date, closed: date | None = None) -> tuple[Chip, ...]:
    """The spans by today's date; for a reader whose figures end with a closed quarter (its last day), those that end there."""
    if closed is not None:
        last_of_year = closed if closed.month == 12 else date(closed.year - 1, 12, 31)
        return (
            Chip("Last closed quarter", date(closed.year, closed.month - 2, 1), closed),
            Chip("Last closed year", date(last_of_year.year, 1, 1), last_of_year),
            Chip("All"),
        )
    month, quarter = last_month(today), last_quarter(today)
    return (
        Chip(LAST_MONTH, month.first, month.last),
        Chip("This quarter", this_quarter(today).first),
        Chip("Last quarter", quarter.first, quarter.last),
        Chip("This year", this_year(today).first),
        Chip("All"),
    )


def chip_shown(chips: tuple[Chip, ...], view: View, *, by_month: bool) -> Chip | None:
    """The span that a page shows; None where the dates are no span of the calendar.

    by_month: whether the page, as Studio does, tells of the first span where no dates are chosen.
    """
    chip_of_dates = next((chip for chip in chips if chip.is_of(view.selection)), None)
    is_open = chip_of_dates is not None and chip_of_dates.first is None
    return chips[0] if is_open and by_month and SPAN not in view.page_words else chip_of_dates


def period_chips(
    addresses: Addresses, path: str, view: View, age: Freshness, closed: date | None, *, by_month: bool
) -> list[html.P | html.Ul]:
    """Which day it is and where the data end, and the spans of the calendar by that day, for the page at a relative path."""
    is_this_year = age.newest_row is not None and age.newest_row.year == age.today.year
    newest = f", newest row {spoken_day(age.newest_row, not is_this_year)}" if age.newest_row else ""
    return [
        html.P(f"{age.today_words}{newest}", className="label"),
        chip_links(addresses, path, view, chips_of(age.today, closed), by_month=by_month),
    ]


def chip_links(addresses: Addresses, path: str, view: View, chips: tuple[Chip, ...], *, by_month: bool) -> html.Ul:
    """The spans as links to the same page, the one that is shown marked."""
    shown = chip_shown(chips, view, by_month=by_month)
    kept = {word: value for word, value in view.page_words.items() if word not in (SPAN, "start")}

    def link(chip: Chip) -> dcc.Link:
        words = {**kept, SPAN: "all"} if chip.first is None and by_month else kept
        return choice(chip.name, addresses.page(path, chip.of(view.selection).query(), words), is_shown=chip is shown)

    return html.Ul([html.Li(link(chip)) for chip in chips], className="choices")

"""What was said of a call, and whether it settles it today."""

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

from dashboard.questions.selection.scope import spoken_day
from shared.logbook.entries import Entry

# What can be said of a call, in the order in which it is offered; waiting takes the last mark back.
MARKS: Final = {
    "called": "called",
    "booked": "booked for",
    "declined": "does not want",
    "again": "try again on",
    "waiting": "back on the list",
}
# Those that name a day to come.
DATED: Final = frozenset({"booked", "again"})


@dataclass(frozen=True)
class Mark:
    """The last mark of a call. is_settled: nobody calls today. until: the day booked for, or to call again on."""

    mark: str
    until: date | None
    words: str
    is_settled: bool


def mark_of(entry: Entry | None, today: date, called_again_days: int) -> Mark | None:
    """The mark of a fit that would be called today; None where there is none."""
    if entry is None or entry.state not in MARKS or entry.state == "waiting":
        return None
    event, day = entry.last, entry.last.day or today
    # What the program says of it, as of a load that was undone.
    by = f", noted by {event.by}" + (f"; {event.text}" if event.text else "")
    if event.state == "called":
        is_settled = today < day + timedelta(days=called_again_days)
        told = f"called on {spoken_day(day)}" + ("" if is_settled else ", no booking loaded since")
        return Mark("called", None, told + by, is_settled)
    if event.state == "declined":
        return Mark("declined", None, f"does not want a follow-up, said on {spoken_day(day)}{by}", is_settled=True)
    if event.state == "booked":
        is_settled = today <= day
        told = f"booked for {spoken_day(day)}" + ("" if is_settled else ", no visit loaded since")
        return Mark("booked", day, told + by, is_settled)
    return Mark("again", day, f"to be called again on {spoken_day(day)}{by}", is_settled=today < day)

"""Follow-ups that are due as a calendar file (iCalendar, RFC 5545), for whatever calendar the front desk looks at.

A calendar is often kept elsewhere, so that an event tells no name, no measure and no health value; the studio's own rider id
stands in it only where it was asked for.
"""

from collections.abc import Iterable
from datetime import UTC, date, datetime, timedelta
from typing import Any, Final, Protocol
from uuid import UUID, uuid5

from icalendar import Calendar, Event
from icalendar.enums import CLASS, TRANSP

from dashboard.figures.theme import day
from dashboard.questions.selection.answers import Answer
from dashboard.questions.selection.selection import Selection
from shared.freshness import Freshness

MIMETYPE: Final = "text/calendar"
_PRODUCT: Final = "-//fitledger//follow-ups//EN"
# Of this project alone: the same booking has the same number in every file, and its own id is not in it.
_BOOKINGS: Final = UUID("7f6a1d0e-3f55-4a0c-9b1e-5d8f0c2b7a41")


class Due(Protocol):
    """A booking that is open, by the studio's own ids."""

    @property
    def follow_up_id(self) -> str: ...
    @property
    def rider_id(self) -> str: ...
    @property
    def due_on(self) -> date: ...


class Asks(Protocol):
    """An asker, or one as a reader sees it."""

    def ask(self, question: str, selection: Selection) -> Answer: ...
    def freshness(self) -> Freshness: ...


def due_calendar(asker: Asks, selection: Selection, *, with_riders: bool) -> bytes:
    """The follow-ups of a selection that are due, as far as the asker is given them."""
    answer: Any = asker.ask("returns", selection)
    return calendar_of(answer.overdue, asker.freshness().today, with_riders=with_riders)


def calendar_of(due: Iterable[Due], today: date, *, with_riders: bool, made_at: datetime | None = None) -> bytes:
    """One all-day event a booking, on the day it is due; one that is overdue stands on today, where somebody looks.

    The same booking keeps its UID from file to file, so that a calendar that is read anew moves its events and doubles none.
    `made_at`: the moment of making, now unless given.
    """
    calendar = Calendar.new(prodid=_PRODUCT, name="Follow-ups due", method="PUBLISH", uid=_BOOKINGS)
    stamp = made_at or datetime.now(UTC)
    for booking in due:
        calendar.add_component(_event(booking, today, stamp, with_riders=with_riders))
    return bytes(calendar.to_ical())


def _event(booking: Due, today: date, stamp: datetime, *, with_riders: bool) -> Event:
    stands_on = max(booking.due_on, today)
    who = f", rider {booking.rider_id}" if with_riders else ""
    words = f"Follow-up overdue since {day(booking.due_on)}" if booking.due_on < today else "Follow-up due"
    event = Event.new(
        uid=uuid5(_BOOKINGS, booking.follow_up_id),
        stamp=stamp,
        start=stands_on,
        # The end of an all-day event is the first day that is no longer part of it (3.6.1).
        end=stands_on + timedelta(days=1),
        summary=f"{words}{who}",
        # Each day on which an event moves is a later form of it (3.8.7.4).
        sequence=(stands_on - booking.due_on).days,
        classification=CLASS.PRIVATE,
    )
    # It takes nobody's time until somebody calls.
    event.add("transp", TRANSP.TRANSPARENT)
    return event

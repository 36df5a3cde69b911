"""Whom to call, and what is booked, as a calendar file (iCalendar, RFC 5545), for whatever calendar the front desk looks at.

A calendar is often kept elsewhere, so that an event tells no name, no measure and no health value; the studio's own rider id
stands in it only where it was asked for.
"""

from datetime import UTC, date, datetime, timedelta
from typing import Any, Final, Protocol
from uuid import UUID, uuid5

from icalendar import Calendar, Event
from icalendar.enums import CLASS, TRANSP

from dashboard.figures.theme import day
from dashboard.questions.returns.answers_calls import BookedRow, CallRow, Calls
from dashboard.questions.selection.answers import Answer
from dashboard.questions.selection.selection import Selection

MIMETYPE: Final = "text/calendar"
_PRODUCT: Final = "-//fitledger//follow-ups//EN"
# Of this project alone: the same fit has the same number in every file, and no id is in it.
_FITS: Final = UUID("7f6a1d0e-3f55-4a0c-9b1e-5d8f0c2b7a41")


class Asks(Protocol):
    """An asker, or one as a reader sees it."""

    def ask(self, question: str, selection: Selection) -> Answer:
        """The answer to a question over a selection."""


def due_calendar(asker: Asks, selection: Selection, *, with_riders: bool) -> bytes:
    """The follow-ups of a selection, as far as the asker is given them."""
    answer: Any = asker.ask("calls", selection)
    return calendar_of(answer, with_riders=with_riders)


def calendar_of(calls: Calls, *, with_riders: bool, made_at: datetime | None = None) -> bytes:
    """One all-day event a fit whose follow-up is open: on the day it is due, a call that waits on the answer's own day.

    The event of a fit keeps its UID from file to file, so that a calendar that is read anew moves it and doubles none.
    `made_at`: the moment of making, now unless given.
    """
    calendar = Calendar.new(prodid=_PRODUCT, name="Follow-ups", method="PUBLISH", uid=_FITS)
    stamp = made_at or datetime.now(UTC)
    for call in calls.calls:
        calendar.add_component(_event(call, _call_words(call), calls.today, call.days_over, stamp, with_riders=with_riders))
    for booked in calls.booked:
        calendar.add_component(_event(booked, "Follow-up", booked.due_on, 0, stamp, with_riders=with_riders))
    return bytes(calendar.to_ical())


def _call_words(call: CallRow) -> str:
    if call.due_on is None:
        return "Call to book a follow-up"
    return f"Call: follow-up was due {day(call.due_on)}" if call.days_over else "Follow-up due"


def _event(row: CallRow | BookedRow, words: str, on: date, moved: int, stamp: datetime, *, with_riders: bool) -> Event:
    event = Event.new(
        uid=uuid5(_FITS, row.session_id),
        stamp=stamp,
        start=on,
        # The end of an all-day event is the first day that is no longer part of it (3.6.1).
        end=on + timedelta(days=1),
        summary=f"{words}, rider {row.rider_id}" if with_riders else words,
        # Each day on which it moves on is a later form of the event (3.8.7.4).
        sequence=moved,
        classification=CLASS.PRIVATE,
    )
    # It takes nobody's time until somebody calls.
    event.add("transp", TRANSP.TRANSPARENT)
    return event

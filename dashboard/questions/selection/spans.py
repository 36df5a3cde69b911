"""Spans of days: those of the calendar by a day of today, the span before one, the same a year before, and each in words."""

from calendar import monthrange
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import numpy as np
from numpy.typing import NDArray

from shared.clock import spoken_day


@dataclass(frozen=True)
class Span:
    """Days from the first to the last, both included."""

    first: date
    last: date

    def holds(self, days: NDArray[Any]) -> NDArray[np.bool_]:
        """Which of `days` (n,) lie in the span."""
        return np.asarray((days >= np.datetime64(self.first)) & (days <= np.datetime64(self.last)))

    @property
    def n_days(self) -> int:
        """How many days it is."""
        return (self.last - self.first).days + 1

    @property
    def n_months(self) -> int | None:
        """How many whole months it is; None where it begins or ends within one."""
        if self.first.day != 1 or self.last != _month_end(self.last):
            return None
        return 12 * (self.last.year - self.first.year) + self.last.month - self.first.month + 1


def last_month(today: date) -> Span:
    """The last full month: the one that was over before today's began."""
    return _months(today, 1, back=1)


def this_quarter(today: date) -> Span:
    """The whole quarter that today lies in, over or not."""
    return _months(today, 3)


def last_quarter(today: date) -> Span:
    """The last full quarter."""
    return _months(today, 3, back=1)


def this_year(today: date) -> Span:
    """The whole year that today lies in, over or not."""
    return _months(today, 12)


def span_before(span: Span) -> Span:
    """The span of the same length that ends the day before: whole months by months, others by days."""
    last = span.first - timedelta(days=1)
    if span.n_months:
        return Span(_months_on(span.first, -span.n_months), last)
    return Span(last - (span.last - span.first), last)


def span_a_year_before(span: Span) -> Span:
    """The same dates a year before; the end of February stays the end of February."""
    return Span(_a_year_before(span.first), _a_year_before(span.last))


def spoken_beside(span: Span, this: Span) -> str:
    """As spoken_span, without the year where both lie in the same one, as in: June, beside July 2026."""
    words = spoken_span(span)
    is_same = {span.first.year, span.last.year} == {this.first.year, this.last.year}
    return words.removesuffix(f" {this.first.year}") if is_same else words


def spoken_span(span: Span) -> str:
    """As in: July 2026; April to June 2026; 2025; 1 Jul to 28 Aug 2026."""
    is_one_year = span.first.year == span.last.year
    if span.n_months == 12 and is_one_year:
        return f"{span.first.year}"
    if span.n_months == 1:
        return f"{span.first:%B %Y}"
    if span.n_months:
        return f"{span.first:%B}{'' if is_one_year else f' {span.first.year}'} to {span.last:%B %Y}"
    if span.first == span.last:
        return spoken_day(span.first)
    return f"{spoken_day(span.first, not is_one_year)} to {spoken_day(span.last)}"


def _months(today: date, length: int, back: int = 0) -> Span:
    """The span of `length` months of the calendar that today lies in, or so many of them `back`."""
    start = _months_on(date(today.year, today.month - (today.month - 1) % length, 1), -length * back)
    return Span(start, _months_on(start, length) - timedelta(days=1))


def _months_on(start: date, months: int) -> date:
    at = 12 * start.year + start.month - 1 + months
    return date(at // 12, at % 12 + 1, 1)


def _month_end(day: date) -> date:
    return day.replace(day=monthrange(day.year, day.month)[1])


def _a_year_before(day: date) -> date:
    is_end = day.month == 2 and day == _month_end(day)
    last_day = monthrange(day.year - 1, day.month)[1]
    return date(day.year - 1, day.month, last_day if is_end else min(day.day, last_day))

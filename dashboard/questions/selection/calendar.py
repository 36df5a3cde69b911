"""Calendar periods as whole numbers, so that a gap is a number without rows."""

from datetime import date, timedelta
from typing import Any

import numpy as np
from numpy.typing import NDArray

# 1 January 1970 was a Thursday: weeks begin on Monday, 29 December 1969.
_MONDAY_BEFORE = 3
_MONTHS = {"month": 1, "quarter": 3}
EVERY = ("week", "month", "quarter")


def period_of(days: NDArray[Any], every: str) -> NDArray[np.int64]:
    """The number of the week, month or quarter of each day, counted from 1970."""
    if every == "week":
        return (days.astype("datetime64[D]").astype(np.int64) + _MONDAY_BEFORE) // 7
    return days.astype("datetime64[M]").astype(np.int64) // _MONTHS[every]


def quarter_of(day: date) -> int:
    """The number of a day's quarter, counted from 1970."""
    return 4 * (day.year - 1970) + (day.month - 1) // 3


def first_day(period: int, every: str) -> date:
    """The first day of a period."""
    if every == "week":
        return date(1970, 1, 1) + timedelta(days=7 * period - _MONDAY_BEFORE)
    months = period * _MONTHS[every]
    return date(1970 + months // 12, 1 + months % 12, 1)


def spoken_period(day: date, every: str) -> str:
    """As in: June 2025; week of 2 Jun 2025; quarter 2 of 2025."""
    if every == "week":
        return f"week of {day.day} {day:%b %Y}"
    return f"{day:%B %Y}" if every == "month" else f"quarter {(day.month + 2) // 3} of {day.year}"

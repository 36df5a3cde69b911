"""Today's date, asked for in this one place, and the one form of a date in words."""

from datetime import date


def today() -> date:
    """The date of this machine's clock, where the machine stands. Who needs another one (a test, a picture) hands it over."""
    return date.today()


def spoken_day(day: date, with_year: bool = True) -> str:
    """As in: 28 Aug 2026, the one form of a date everywhere."""
    return f"{day.day} {day.strftime('%b %Y' if with_year else '%b')}"

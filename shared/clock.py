"""Today's date, asked for in this one place, and the one form of a date in words.

The demo's data end on a day that nobody lives in, so that its warehouse carries a clock that stands still: a table of its own,
which goes wherever the file is copied. What follows from today (due calls, the last month, how old the data are) is told by it
alike on the page, by the command and in the report. A studio's warehouse has none, and follows the machine's clock.
"""

from datetime import date
from pathlib import Path
from typing import Any, Final, Protocol

# Three days after the last row of the demo: July is its last full month, and some of its follow-ups are due.
DEMO_TODAY: Final = date(2026, 8, 31)
_SET: Final = Path(__file__).with_name("own_clock.sql")
_HAS_ONE: Final = "SELECT count(*) FROM duckdb_tables() WHERE schema_name = 'demo' AND table_name = 'clock'"


class _Opened(Protocol):
    """An open warehouse, as shared/warehouse.py gives it."""

    def run(self, sql: Path | str, parameters: dict[str, Any] | None = None) -> None: ...

    def value(self, sql: Path | str, parameters: dict[str, Any] | None = None) -> Any: ...


def today() -> date:
    """The date of this machine's clock, where the machine stands. Who needs another one (a test, a picture) hands it over."""
    return date.today()


def set_own_clock(warehouse: _Opened, day: date) -> None:
    """Makes it `day` in this warehouse, whatever the machine's clock says."""
    warehouse.run(_SET, {"today": day})


def own_today(warehouse: _Opened) -> date | None:
    """The date of the warehouse's own clock; None where it has none, as every studio's."""
    if not warehouse.value(_HAS_ONE):
        return None
    own: date = warehouse.value("SELECT today FROM demo.clock")
    return own


def spoken_day(day: date, with_year: bool = True) -> str:
    """As in: 28 Aug 2026, the one form of a date everywhere."""
    return f"{day.day} {day.strftime('%b %Y' if with_year else '%b')}"

"""The invented demo: a scenario, its simulator, the exports it writes, and the warehouse built from them."""

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from shared.clock import DEMO_TODAY, own_today, set_own_clock
from shared.errors import WarehouseError
from shared.logbook.entries import Entries
from shared.logbook.store import Logbook
from shared.warehouse import open_loading, open_reading

if TYPE_CHECKING:
    from etl.at_work import Progress
    from etl.report import LoadReport

CHANGED_ON = date(2025, 6, 2)
# What the demo studio noted of its change of practice (scenario.md).
CHANGED = "New practice: a repeat capture before anything is changed, decided by the mean of both, one change at a time."
# And a task that it gave on a figure, half a year before the demo's clock, so that its end can tell what the figure did since.
GIVEN_ON, UNTIL = date(2026, 3, 2), date(2026, 9, 15)
GIVEN = "Book the follow-up before the rider leaves."
HOME = Path(__file__).parent
EXPORTS = HOME / "exports"
WAREHOUSE = HOME / "demo.duckdb"


def is_current() -> bool:
    """Whether the demo warehouse is there, of this program's version and clock, and not older than any of its exports."""
    try:
        opened = open_reading(WAREHOUSE)
    except WarehouseError:
        return False
    has_clock = own_today(opened) == DEMO_TODAY
    opened.close()
    newest = max((file.stat().st_mtime for file in EXPORTS.iterdir()), default=0.0)
    said = {entry.text for entry in Entries(WAREHOUSE).all()}
    return has_clock and {CHANGED, GIVEN} <= said and WAREHOUSE.stat().st_mtime >= newest


def build(step: "Progress | None" = None, path: Path = WAREHOUSE) -> "LoadReport":
    """Makes the demo warehouse anew from its exports, with the clock that it lives by; `step` is told how far it is."""
    from etl.load import load

    path.unlink(missing_ok=True)
    report = load([EXPORTS], path, step, DEMO_TODAY)
    with open_loading(path) as warehouse:
        set_own_clock(warehouse, DEMO_TODAY)
    Logbook(path).file.unlink(missing_ok=True)
    say_what_was_said(path)
    return report


def say_what_was_said(path: Path) -> None:
    """Writes what the demo studio noted and gave to do into the logbook of its warehouse, each dated by the demo's days."""
    Entries(path, day=CHANGED_ON).add("note", "period", "charts", by="the demo", text=CHANGED, day=CHANGED_ON)
    Entries(path, day=GIVEN_ON).add(
        "task", "figure", "return_rate", by="the demo", text=GIVEN, day=UNTIL, who="the front desk", address="over-time"
    )

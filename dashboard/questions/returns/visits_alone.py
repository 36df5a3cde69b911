"""What visits alone tell of returns, where a studio records no bookings."""

from dashboard.questions.memory.remembering import Remember
from dashboard.questions.returns import SQL
from dashboard.questions.selection.scope import counted, fragments, scope_of
from dashboard.questions.selection.selection import Selection
from shared.settings import Settings
from shared.warehouse import Warehouse


def told(warehouse: Warehouse, selection: Selection, settings: Settings, remember: Remember, absent: tuple[str, ...]) -> str:
    """How many visits are follow-ups by their kind, and how many of those came within the window; no share, since nobody knows
    who was asked to come."""
    scope = scope_of(warehouse, selection, settings, remember)
    (row,) = warehouse.rows(SQL / "returns_visits.sql", scope.parameters, **fragments())
    if not row["n_follow_ups"]:
        return f"From visits alone: of {counted(scope.n_fits, 'visit')} none is a follow-up by its kind."
    n, days = row["n_follow_ups"], settings.follow_up.returned_within_days
    kind = "visit is a follow-up" if n == 1 else "visits are follow-ups"
    return (
        f"From visits alone: {n:,} {kind} by kind; {row['n_in_time']:,} came within {days} days of the rider's fit before. "
        "No share is told, since bookings alone say who was to come."
    )

"""Whether riders who were called came more often than those who were not, each from the same day on.

A rider who came before anybody could call was not "not called": all are looked at from a landmark on, some days after their
follow-up came on the list, by what had been done until then (Anderson et al. 1983, J Clin Oncol 1:710; from memory).
"""

from collections.abc import Sequence
from datetime import date
from typing import Final

from dashboard.questions.returns import SQL
from dashboard.questions.selection.numbers import spoken, spoken_percent, spoken_points
from dashboard.questions.selection.scope import Scope, counted, fragments
from shared.logbook.entries import Entry
from shared.settings import Settings
from shared.statistics.proportions import share_difference, share_difference_p
from shared.statistics.told import direction
from shared.warehouse import Warehouse

LANDMARK_DAYS: Final = 7
# What says that somebody was spoken to, or tried.
_CALLED: Final = frozenset({"called", "booked", "declined", "again"})
_CAUTION: Final = "Who is called is not drawn by lot: those called may be others than those not, so that this does not say why."


def calling_words(warehouse: Warehouse, scope: Scope, settings: Settings, calls: Sequence[Entry]) -> str:
    """The two shares and their difference in a sentence, with the caution; empty where either group has too few riders."""
    days: dict[str, date] = {}
    for entry in calls:
        if day := _first_called(entry):
            days[entry.key] = min(day, days.get(entry.key, day))
    if not days:
        return ""
    bound = {**scope.parameters, "first": min(days.values()), "landmark_days": LANDMARK_DAYS, "as_of": scope.as_of}
    groups: dict[bool, list[bool]] = {True: [], False: []}
    for row in warehouse.rows(SQL / "returns_called.sql", bound, **fragments()):
        called_on = days.get(row["session_id"])
        groups[called_on is not None and row["since"] <= called_on <= row["landmark"]].append(bool(row["has_come"]))
    called, other = groups[True], groups[False]
    if min(len(called), len(other)) < settings.minimum.riders_shown:
        return ""
    window, level = settings.follow_up.returned_within_days, settings.intervals.level
    return (
        f"Of {counted(len(called), 'rider')} called within {LANDMARK_DAYS} days of coming on this list "
        f"{spoken_percent(sum(called) / len(called))} came in the {window} days after these, "
        f"of {len(other):,} not called until then {spoken_percent(sum(other) / len(other))}: "
        f"{_apart((sum(called), len(called), sum(other), len(other)), level)}. {_CAUTION}"
    )


def _apart(counts: tuple[int, int, int, int], level: float) -> str:
    """The difference of the two shares: those who came and all, of the called and of the others."""
    apart = share_difference(*counts, level)
    low, high = float(apart.low[0]), float(apart.high[0])
    way = direction(low, high, share_difference_p(*counts))
    if not way:
        return f"no clear difference ({spoken(100 * low, 0)} to {spoken_points(high)})"
    near, far = sorted((abs(low), abs(high)))
    ends = f"{spoken(100 * near, 0)} to {spoken(100 * far, 0)}"
    return f"{spoken_points(abs(float(apart.estimate[0])))} {'more' if way > 0 else 'fewer'} ({ends})"


def _first_called(entry: Entry) -> date | None:
    return next((date.fromisoformat(event.at[:10]) for event in entry.events if event.state in _CALLED), None)

"""Whom to call today: follow-ups that are due or over, and fits without a booking once the days for one are past."""

from collections import Counter
from collections.abc import Iterator, Mapping
from datetime import date
from typing import Any, Final

from dashboard.questions.returns import SQL
from dashboard.questions.returns.answers_calls import BookedRow, CallRow, Calls, StateRow
from dashboard.questions.selection.every_fit import Remember, at_once
from dashboard.questions.selection.scope import counted, fragments, scope_of, spoken_day
from dashboard.questions.selection.selection import Selection
from shared.settings import Settings
from shared.warehouse import Warehouse

METHOD = {
    "calls": "open bookings due today or before, until they are closed; and fits that ask for a follow-up, have no booking "
    "and no later visit of their rider, once the days for booking are past, for as long as the setting says",
    "states": "by today's date: over, due, booked; came; closed (missed or cancelled); to be booked; rider seen since",
    "order": "longest over first",
}
# Every state of a fit with what it is called, in the order in which it is told.
STATES: Final = {
    "over": "follow-up over",
    "due": "follow-up due today",
    "not_booked": "no follow-up booked",
    "booked": "booked ahead",
    "to_book": "still within the days for booking",
    "came": "came to the follow-up",
    "closed": "follow-up missed or cancelled",
    "later": "never booked, rider seen since",
    "left_off": "never booked, too long ago to call about",
}
CALLED: Final = ("over", "due", "not_booked")
Row = Mapping[str, Any]


def ask(
    warehouse: Warehouse,
    selection: Selection,
    settings: Settings,
    today: date | None = None,
    remember: Remember | None = None,
) -> Calls:
    """Whom to call on `today`; on the data's last day where that is later, or no day is given."""
    scope = scope_of(warehouse, selection, settings, remember or at_once)
    scope.require_fits()
    assert scope.as_of is not None  # there are fits, and each has a day
    by = max(today or scope.as_of, scope.as_of)
    rows = warehouse.rows(SQL / "returns_calls.sql", {**scope.parameters, "today": by}, **fragments())
    n: Counter[str] = Counter()
    for row in rows:
        n[row["state"]] += row["n_fits"]
    return Calls(
        **scope.head(selection),
        method={
            **METHOD,
            "booked_within_days": settings.follow_up.booked_within_days,
            "called_for_days": settings.follow_up.called_for_days,
        },
        today=by,
        **scope.counts,
        headline=_headline(n, by),
        calls=tuple(_calls(rows, by)),
        booked=tuple(_booked(rows, by)),
        states=tuple(StateRow(state, n[state], f"{counted(n[state], 'fit')}: {name}.") for state, name in STATES.items()),
    )


def _calls(rows: list[dict[str, Any]], today: date) -> Iterator[CallRow]:
    for row in rows:
        if row["state"] in CALLED:
            days = (today - row["since"]).days
            yield CallRow(**{**_known(row), "state": row["state"], "days_over": days, "words": _why(row, days)})


def _booked(rows: list[dict[str, Any]], today: date) -> Iterator[BookedRow]:
    for row in rows:
        if row["state"] == "booked":
            yield BookedRow(**_known(row), days_ahead=(row["due_on"] - today).days)


def _known(row: Row) -> dict[str, Any]:
    return {name: value for name, value in row.items() if name not in ("state", "since", "n_fits")}


def _why(row: Row, days: int) -> str:
    over = f"{days:,} {'day' if days == 1 else 'days'}"
    if row["state"] == "not_booked":
        return f"No follow-up was booked by {spoken_day(row['since'])}, {over} ago."
    if row["state"] == "due":
        return "The follow-up is due today."
    return f"The follow-up was due on {spoken_day(row['due_on'])}, {over} ago."


def _headline(n: Mapping[str, int], today: date) -> str:
    total = sum(n[state] for state in CALLED)
    if not total:
        return f"No calls today, {spoken_day(today)}. {counted(n['booked'], 'follow-up')} booked ahead."
    parts = (f"{n['over']:,} with a follow-up over", f"{n['due']:,} due today", f"{n['not_booked']:,} without a booking")
    told = ", ".join(part for part in parts if not part.startswith("0 "))
    return f"{counted(total, 'call')} today, {spoken_day(today)}: {told}. {counted(n['booked'], 'follow-up')} booked ahead."

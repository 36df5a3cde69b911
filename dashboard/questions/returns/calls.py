"""Whom to call today: follow-ups that are due or over, and fits without a booking once the days for one are past, less those
whom the front desk has marked."""

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import replace
from datetime import date
from typing import Any, Final

from dashboard.questions.returns import SQL
from dashboard.questions.returns.answers_calls import BookedRow, CallRow, Calls, MarkedRow, StateRow
from dashboard.questions.returns.calls_marked import mark_of
from dashboard.questions.selection.every_fit import Remember, at_once
from dashboard.questions.selection.scope import counted, fragments, scope_of, spoken_day
from dashboard.questions.selection.selection import Selection
from shared.logbook.entries import Entered
from shared.settings import Settings
from shared.warehouse import Warehouse

METHOD = {
    "calls": "open bookings due today or before, until they are closed; and fits that ask for a follow-up, have no booking "
    "and no later visit of their rider, once the days for booking are past, for as long as the setting says",
    "states": "by today's date: over, due, booked; came; closed (missed or cancelled); to be booked; rider seen since",
    "marks": "who was called is listed again after the days of the setting, who booked once that day is past, who is to be "
    "called again on that day; who does not want it, no more; a load that brings the follow-up closes a mark",
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
    entries: Entered | None = None,
) -> Calls:
    """Whom to call on `today`; on the data's last day where that is later, or no day is given. entries: calls so far."""
    scope = scope_of(warehouse, selection, settings, remember or at_once)
    scope.require_fits()
    assert scope.as_of is not None  # there are fits, and each has a day
    by = max(today or scope.as_of, scope.as_of)
    rows = warehouse.rows(SQL / "returns_calls.sql", {**scope.parameters, "today": by}, **fragments())
    marked, listed, n = [], [], Counter[str]()
    marks = {entry.key: entry for entry in (entries or Entered()).calls if entry.is_open}
    for call in _calls(rows, by):
        mark = mark_of(marks.get(call.session_id), by, settings.follow_up.called_again_days)
        if mark and mark.is_settled:
            marked.append(MarkedRow(mark.mark, *_whom(call), mark.until, mark.words))
        else:
            listed.append(replace(call, marked=mark.words) if mark else call)
    for row in rows:
        n[row["state"]] += row["n_fits"]
    return Calls(
        **scope.head(selection),
        method={
            **METHOD,
            "booked_within_days": settings.follow_up.booked_within_days,
            "called_for_days": settings.follow_up.called_for_days,
            "called_again_days": settings.follow_up.called_again_days,
        },
        today=by,
        **scope.counts,
        headline=_headline({**Counter(row.state for row in listed), "booked": n["booked"]}, by, len(marked)),
        calls=tuple(listed),
        booked=tuple(_booked(rows, by)),
        marked=tuple(marked),
        states=tuple(StateRow(state, n[state], f"{counted(n[state], 'fit')}: {name}.") for state, name in STATES.items()),
    )


def _calls(rows: list[dict[str, Any]], today: date) -> Iterator[CallRow]:
    for row in rows:
        if row["state"] in CALLED:
            days = (today - row["since"]).days
            yield CallRow(
                **_known(row), state=row["state"], days_over=days, words=_why(row, days), last_result=_last_result(row)
            )


def _booked(rows: list[dict[str, Any]], today: date) -> Iterator[BookedRow]:
    for row in rows:
        if row["state"] == "booked":
            yield BookedRow(**_known(row), days_ahead=(row["due_on"] - today).days)


def _known(row: Row) -> dict[str, Any]:
    kept_out = ("state", "since", "n_fits", "comfort_arrival", "comfort_departure")
    return {name: value for name, value in row.items() if name not in kept_out}


def _whom(row: CallRow) -> tuple[str, str, str, str]:
    return row.rider_id, row.studio_id, row.fitter_id, row.session_id


def _last_result(row: Row) -> str:
    """How the fit felt, as it was rated, without a word of what that means."""
    before, after = row["comfort_arrival"], row["comfort_departure"]
    if before is None or after is None:
        return "comfort not recorded"
    return f"comfort {before:.3g}, then {after:.3g}"


def _why(row: Row, days: int) -> str:
    over = f"{days:,} {'day' if days == 1 else 'days'}"
    if row["state"] == "not_booked":
        return f"No follow-up was booked by {spoken_day(row['since'])}, {over} ago."
    if row["state"] == "due":
        return "The follow-up is due today."
    return f"The follow-up was due on {spoken_day(row['due_on'])}, {over} ago."


def _headline(n: Mapping[str, int], today: date, n_marked: int = 0) -> str:
    total = sum(n.get(state, 0) for state in CALLED)
    ahead = f"{counted(n['booked'], 'follow-up')} booked ahead" + (f", {n_marked:,} marked." if n_marked else ".")
    if not total:
        return f"No calls today, {spoken_day(today)}. {ahead}"
    parts = (("over", "with a follow-up over"), ("due", "due today"), ("not_booked", "without a booking"))
    told = ", ".join(f"{n[state]:,} {words}" for state, words in parts if n.get(state))
    return f"{counted(total, 'call')} today, {spoken_day(today)}: {told}. {ahead}"

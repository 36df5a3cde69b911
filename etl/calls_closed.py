"""Closes what the logbook holds of calls once a load has brought what the call was for: a visit, a booking, or its end; and
reopens them where that load is undone."""

from pathlib import Path
from typing import Any, Final

from shared.errors import LogbookError
from shared.logbook.entries import Entries, Event
from shared.statistics.wording import counted
from shared.warehouse import open_reading

SQL: Final = Path(__file__).with_name("sql")
_BROUGHT: Final = {"attended": "attended", "open": "booked", "missed": "missed", "cancelled": "cancelled"}


def close_calls(warehouse: Path, load_id: int) -> str:
    """Closes the open calls about whose fits a load brought a follow-up, and says so in words; empty where there is none.

    The load is in place already: where the logbook cannot be written, that is what is said.
    """
    entries = Entries(warehouse)
    try:
        waiting = {entry.key for entry in entries.all("call") if entry.is_open}
        if not waiting:
            return ""
        rows = _brought(warehouse, load_id, sorted(waiting))
        closed = {
            row["session_id"]: Event(0, "", _by(load_id), "closed", row["day"], text=_words(row, load_id)) for row in rows
        }
        n = entries.say_all("call", "rider_follow_up", closed, only_open=True)
    except LogbookError as fault:
        return f"The load is in place; calls in the logbook were not closed by it: {fault}"
    return f"{counted(n, 'call')} closed by load {load_id}." if n else ""


def reopen_calls(warehouse: Path, load_id: int) -> str:
    """Reopens the calls that a load closed by itself, now that it is undone, each as it stood before; says so in words, empty
    where there is none. A call that was marked anew since stays as it is.

    The load is taken back already: where the logbook cannot be written, that is what is said.
    """
    entries, by, told = Entries(warehouse), _by(load_id), f"reopened since load {load_id} was undone"
    try:
        closed = [
            one
            for one in entries.all("call")
            if (one.state, one.last.by) == ("closed", by) and not entries.open_about("call", one.kind, one.key)
        ]
        for one in closed:
            before = one.events[-2]
            entries.say(one.entry_id, before.state, by=before.by, day=before.day, text=told, only_open=False)
    except LogbookError as fault:
        return f"The load is taken back; calls in the logbook that it had closed were not reopened: {fault}"
    return f"{counted(len(closed), 'call')} {told}." if closed else ""


def _by(load_id: int) -> str:
    """How a load is named among those who say something of a call."""
    return f"load {load_id}"


def _brought(warehouse: Path, load_id: int, sessions: list[str]) -> list[dict[str, Any]]:
    opened = open_reading(warehouse)
    try:
        return opened.rows(SQL / "raw/calls_brought.sql", {"load_id": load_id, "sessions": sessions})
    finally:
        opened.close()


def _words(row: dict[str, Any], load_id: int) -> str:
    return f"closed by load {load_id}: {_BROUGHT[row['state']]}"

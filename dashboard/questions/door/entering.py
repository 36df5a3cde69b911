"""Entries of the logbook as one reader may make them: who marks a call, gives a task or writes a note, each told by name."""

from dataclasses import replace
from datetime import date, timedelta
from typing import Final
from urllib.parse import parse_qsl, urlsplit

from dashboard.questions.door.asked_by import AskedBy
from dashboard.questions.door.readers import Reader
from dashboard.questions.returns.calls_marked import DATED, MARKS
from dashboard.questions.riders.riders_found import riders_of_fits
from dashboard.questions.selection.selection import Selection, parse_selection
from dashboard.questions.studio.answers_periods import Periods
from dashboard.questions.studio.trends_fits import LIMITS
from shared.errors import NotPermittedError, NotReleasedError, StatisticsError, UsageError
from shared.logbook.entries import LONGEST_TEXT, OF_FITS, Entry, Event, Kind, Sort

THIS_MACHINE: Final = "this machine"
# What a note on every chart over time is about.
CHARTS: Final = "charts"
# Words of the address that stand for a part of the studio, which the figure is told of again.
_FOR_SINCE: Final = frozenset({"studio", "fitter"})
# Of whom a task or note is about, more than figures: for those who lead.
_FOR_LEADING: Final[frozenset[Kind]] = frozenset({"load", "fitter"})


def mark_call(asked: AskedBy, session_id: str, mark: str, day: date | None = None) -> Entry:
    """Marks the call about a fit: one that the reader sees on the list, or has marked.

    Raises UsageError where the fit is not on the list, the mark is none, or its day is missing or past.
    """
    today = asked.today()
    checked_mark(mark, day, today)
    answer = asked.ask("calls", Selection())
    known = {row.session_id for name in ("calls", "marked") for row in getattr(answer, name)}
    if session_id not in known:
        raise UsageError(f"{session_id}: no call about this fit is on the list of today. Look at the list again.")
    by = asked.reader().name or THIS_MACHINE
    entry = asked.logbook().say_about("call", "rider_follow_up", session_id, Event(0, "", by, mark, day or today))
    asked.notes.done("marked a call", f"{mark} {session_id}")
    return entry


def checked_mark(mark: str, day: date | None, today: date) -> None:
    """Raises UsageError where it is no mark, or its day is missing, past or not asked for."""
    if mark not in MARKS:
        raise UsageError(f"Found {mark!r}, expected one of {', '.join(MARKS)}.")
    if (mark in DATED) != (day is not None):
        raise UsageError(f"{MARKS[mark].capitalize()}: {'name the day' if mark in DATED else 'it takes no day'}.")
    if day is not None and day < today:
        raise UsageError(f"{MARKS[mark].capitalize()} {day}: this day is past. Name a day to come.")


def enter_as(
    asked: AskedBy, sort: Sort, kind: Kind, key: str, *, text: str, day: date | None = None, who: str = "", address: str = ""
) -> Entry:
    """Opens a task or writes a note. Raises NotPermittedError for what the reader may not, UsageError without a text."""
    reader = asked.require_more_than_calls()
    _require_may(asked, reader, kind, key)
    if not text.strip():
        raise UsageError("Say what is to be done." if sort == "task" else "Say what there is to note.")
    if sort == "note" and (day is None or kind != "period" or key not in (CHARTS, LIMITS)):
        raise UsageError("Say on which day it changed." if day is None else "A note stands on the charts over time.")
    by = reader.name or THIS_MACHINE
    entry = asked.logbook().add(sort, kind, key, by=by, text=text.strip(), day=day, who=who.strip(), address=address)
    asked.notes.done(f"added a {sort}", f"{entry.entry_id} {kind}")
    return entry


def say_as(asked: AskedBy, sort: Sort, entry_id: str, state: str, *, text: str = "") -> Entry:
    """Says what came of a task or note: done or dropped; of a task on a figure, with what the figure did since. Raises as
    `enter_as`."""
    reader = asked.require_more_than_calls()
    entry = asked.logbook().found(entry_id, sort)
    _require_may(asked, reader, entry.kind, entry.key)
    said, since = text.strip(), _since(asked, entry) if state == "done" else ""
    told = f"{said}{'' if said.endswith(('.', '!', '?')) else '.'} {since}" if said and since else said or since
    ended = asked.logbook().say(entry_id, state, by=reader.name or THIS_MACHINE, text=told[:LONGEST_TEXT])
    asked.notes.done(f"{state} a {sort}", entry_id)
    return ended


def _since(asked: AskedBy, task: Entry) -> str:
    """What the figure of a task did since it was given, against as long before, as `periods` tells it; empty for no figure."""
    if task.kind != "figure":
        return ""
    words = {word: value for word, value in parse_qsl(urlsplit(task.address).query) if word in _FOR_SINCE}
    try:
        selection = replace(parse_selection(words), date_from=_given_on(task), date_to=asked.today())
        answer = asked.ask("periods", selection)
    except (StatisticsError, NotReleasedError, NotPermittedError, UsageError):
        return "What the figure did since cannot be told yet."
    assert isinstance(answer, Periods)
    row = next((row for row in answer.changes if (row.figure, row.against) == (task.key, "before")), None)
    return f"Since then, against as long before: {row.words}" if row else ""


def _given_on(task: Entry) -> date:
    """The first day after a task was given."""
    return task.opened_on + timedelta(days=1)


def open_seen_by(asked: AskedBy, sort: Sort, about: tuple[Kind, str] | None = None) -> tuple[Entry, ...]:
    """The open entries of a sort, or about one thing, that the reader may see: a fitter none about fits, loads or other
    fitters, but those given by or to them."""
    entries = asked.logbook()
    return _seen(asked, entries.open_about(sort, *about) if about else entries.open(sort))


def ended_seen_by(asked: AskedBy, sort: Sort) -> tuple[Entry, ...]:
    """Those that are done or dropped, likewise."""
    return _seen(asked, tuple(one for one in asked.logbook().all(sort) if not one.is_open))


def _seen(asked: AskedBy, entries: tuple[Entry, ...]) -> tuple[Entry, ...]:
    reader = asked.require_more_than_calls()
    return tuple(one for one in entries if _may(reader, one)) if reader.own_cases_only else entries


def _may(reader: Reader, entry: Entry) -> bool:
    own = reader.name and reader.name in (entry.who, entry.opened_by)
    return bool(own) or (entry.kind not in OF_FITS and entry.kind not in _FOR_LEADING)


def _require_may(asked: AskedBy, reader: Reader, kind: Kind, key: str) -> None:
    if not reader.own_cases_only:
        return
    if kind in _FOR_LEADING or key == LIMITS:
        raise NotPermittedError(
            "Tasks on loads and fitters, and freezing limits, are for the head fitter and the owner. Ask one of them."
        )
    if kind in OF_FITS and not asked.look_up(lambda warehouse: riders_of_fits(warehouse, [key], asked.fitter)):
        raise NotPermittedError("A fitter gives tasks on own fits. Ask the head fitter.")

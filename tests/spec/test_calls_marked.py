"""What the front desk marks, on the eleven fits of test_calls: who is called again when, and what a load closes.

On 1 July 2026 the list is R6 of S6 (over), R3 of S3, R5 of S11 (not booked), R8 of S9 (due).
"""

from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from dashboard.questions.door.notes import calls_without_measures
from dashboard.questions.returns import calls
from dashboard.questions.returns.answers_calls import Calls
from dashboard.questions.selection.selection import parse_selection
from etl.calls_closed import close_calls, reopen_calls
from etl.history import undo
from etl.load import load
from shared.logbook.entries import Entered, Entries, Entry, Event
from shared.warehouse import Warehouse
from tests.spec.tables import fill
from tests.spec.test_calls import SETTINGS, studio
from tests.spec.test_drawn import exports

__all__ = ["studio"]


def call(session: str, *marks: tuple[str, date]) -> Entry:
    events = tuple(Event(number, "2026-07-01T09:00:00Z", "dora", *mark) for number, mark in enumerate(marks, 1))
    return Entry(f"C-{session}", "call", "rider_follow_up", session, "", "2026-07-01T09:00:00Z", "dora", events)


def asked(warehouse: Warehouse, day: int, *entries: Entry) -> Calls:
    return calls.ask(warehouse, parse_selection({}), SETTINGS, date(2026, 7, day), entries=Entered(entries))


def listed(answer: Calls) -> list[str]:
    return [row.session_id for row in answer.calls]


# Called again after three days: on 4 July.
@pytest.mark.parametrize(
    ("mark", "off_until"),
    [(("called", date(2026, 7, 1)), 4), (("booked", date(2026, 7, 3)), 4), (("again", date(2026, 7, 3)), 3)],
)
def test_a_mark_takes_a_rider_off_the_list_until_its_day(studio: Warehouse, mark: tuple[str, date], off_until: int) -> None:
    entry = call("S6", mark)
    for day in range(1, 6):
        answer = asked(studio, day, entry)
        assert ("S6" in listed(answer)) == (day >= off_until), day
        assert [row.session_id for row in answer.marked] == ([] if day >= off_until else ["S6"])


def test_marks_are_told_in_words_by_whom_and_when(studio: Warehouse) -> None:
    entries = (
        call("S6", ("called", date(2026, 7, 1))),
        call("S3", ("called", date(2026, 7, 1)), ("declined", date(2026, 7, 1))),
        call("S11", ("booked", date(2026, 7, 9))),
        call("S9", ("again", date(2026, 7, 2))),
    )
    answer = asked(studio, 1, *entries)
    assert {row.session_id: (row.rider_id, row.mark, row.words) for row in answer.marked} == {
        "S6": ("R6", "called", "called on 1 Jul 2026, noted by dora"),
        "S3": ("R3", "declined", "does not want a follow-up, said on 1 Jul 2026, noted by dora"),
        "S11": ("R5", "booked", "booked for 9 Jul 2026, noted by dora"),
        "S9": ("R8", "again", "to be called again on 2 Jul 2026, noted by dora"),
    }
    assert answer.headline == "No calls today, 1 Jul 2026. 1 follow-up booked ahead, 4 marked."
    later = asked(studio, 20, *entries)
    assert {row.session_id: row.marked for row in later.calls if row.marked} == {
        "S6": "called on 1 Jul 2026, no booking loaded since, noted by dora",
        "S11": "booked for 9 Jul 2026, no visit loaded since, noted by dora",
        "S9": "to be called again on 2 Jul 2026, noted by dora",
    }
    assert "S3" not in listed(later)


def test_a_mark_taken_back_or_closed_leaves_the_list_as_it_is(studio: Warehouse) -> None:
    plain = listed(asked(studio, 1))
    taken_back = call("S6", ("called", date(2026, 7, 1)), ("waiting", date(2026, 7, 1)))
    closed = call("S3", ("called", date(2026, 7, 1)), ("closed", date(2026, 7, 1)))
    assert listed(asked(studio, 1, taken_back, closed)) == plain == ["S6", "S3", "S11", "S9"]


def test_how_the_fit_felt_is_told_and_not_to_the_front_desk(memory: Warehouse) -> None:
    fill(
        memory,
        riders="rider_id\nR1\nR2",
        fitters="fitter_id | fitter_name\nF1 | Alder",
        fit_sessions="session_id | rider_id | fitter_id | studio_id | session_date | visit_kind\n"
        "S1 | R1 | F1 | q | 2026-06-01 | first\nS2 | R2 | F1 | q | 2026-06-01 | first",
        knee_captures="session_id | capture_no | side | knee_tilt_deg\nS1 | 1 | left | 3\nS1 | 2 | left | 1",
        rider_ratings="session_id | capture_no | topic | body_part | score\n"
        "S1 | 1 | comfort | overall | 4\nS1 | 2 | comfort | overall | 7",
    )
    answer = asked(memory, 1)
    assert {row.session_id: row.last_result for row in answer.calls} == {
        "S1": "comfort 4, then 7", "S2": "comfort not recorded",
    }  # fmt: skip
    assert {row.last_result for row in calls_without_measures(answer).calls} == {""}


def called_studio(memory: Warehouse, n: int, came_of_called: int) -> tuple[Entry, ...]:
    """`n` riders called three days after their follow-up was due on 1 April, of whom some came on 20 April; as many not called,
    of whom none came. The data reach to 1 July."""
    names = [f"{kind}{number}" for kind in "CN" for number in range(n)]
    came = {f"C{number}" for number in range(came_of_called)}
    rows = [
        f"B{name} | S{name} | 2026-03-01 | 2026-04-01 | {'attended | 2026-04-20' if name in came else 'open | -'}"
        for name in names
    ]
    sessions = [f"S{name} | {name} | F1 | q | 2026-03-01 | first" for name in [*names, "Z"]]
    fill(
        memory,
        riders="\n".join(["rider_id", *names, "Z"]),
        fitters="fitter_id | fitter_name\nF1 | Alder",
        fit_sessions="\n".join(
            ["session_id | rider_id | fitter_id | studio_id | session_date | visit_kind", *sessions]
        ).replace("SZ | Z | F1 | q | 2026-03-01", "SZ | Z | F1 | q | 2026-07-01"),
        follow_ups="\n".join(["follow_up_id | session_id | booked_on | due_on | state | attended_on", *rows]),
    )
    event = Event(1, "2026-04-04T09:00:00Z", "dora", "called", date(2026, 4, 4))
    return tuple(
        Entry(f"C-{name}", "call", "rider_follow_up", f"S{name}", "", event.at, "dora", (event,))
        for name in names
        if name[0] == "C"
    )


@pytest.mark.parametrize(
    ("n", "came", "words"),
    [
        # Newcombe's interval by hand, 4 of 4 against 0 of 4: Wilson's are 51 to 100 and 0 to 49, so 100 - sqrt(49² + 49²) = 31.
        (4, 4, "of 4 not called until then 0\u00a0%: 100\u00a0points more (31 to 100)."),
        (4, 1, "of 4 not called until then 0\u00a0%: no clear difference ("),
        # Fewer than are shown.
        (2, 2, ""),
    ],
)
def test_whether_calling_changed_the_rate_is_told_where_enough_were(memory: Warehouse, n: int, came: int, words: str) -> None:
    entries = called_studio(memory, n, came)
    settings = SETTINGS.model_copy(update={"minimum": SETTINGS.minimum.model_copy(update={"rows_shown": 3})})
    told = calls.ask(memory, parse_selection({}), settings, date(2026, 7, 1), entries=Entered(entries)).calling
    assert (words in told) if words else told == ""
    assert ("is not drawn by lot" in told) == bool(words)
    assert told.startswith(f"Of {n} riders called within 7 days of coming on this list {100 * came // n}\u00a0% came") == bool(
        words
    )


def test_who_came_before_anybody_could_call_is_in_neither_group(memory: Warehouse) -> None:
    """A rider called on 9 April, after the landmark of 8 April, is one not called until then."""
    entries = called_studio(memory, 4, 4)
    late = Event(1, "2026-04-09T09:00:00Z", "dora", "called", date(2026, 4, 9))
    first = replace(entries[0], opened_at="2026-03-30T09:00:00Z")
    late_ones = tuple(replace(entry, events=(late,)) for entry in entries[1:])
    settings = SETTINGS.model_copy(update={"minimum": SETTINGS.minimum.model_copy(update={"rows_shown": 1})})
    entries = (first, *late_ones)
    told = calls.ask(memory, parse_selection({}), settings, date(2026, 7, 1), entries=Entered(entries)).calling
    assert told == ""  # one called: fewer than two


FOLLOW_UPS = "follow_up_id,session_id,booked_on,due_on,state,attended_on\n"


def test_what_a_load_brings_closes_the_call_and_nothing_else(tmp_path: Path) -> None:
    path = tmp_path / "w.duckdb"
    fits = ("FIT-1", "FIT-2", "FIT-3", "FIT-4")
    load([exports(tmp_path / "first", dict.fromkeys(fits, ("insole_low", -3.0)))], path, today=date(2026, 3, 3))
    for fit in fits[:3]:
        Entries(path).say_about("call", "rider_follow_up", fit, Event(0, "", "dora", "called", date(2026, 3, 3)))
    folder = tmp_path / "second"
    folder.mkdir()
    rows = (
        "U1,FIT-1,2026-03-03,2026-03-17,attended,2026-03-17",
        "U2,FIT-2,2026-03-04,2026-03-20,open,",
        "U4,FIT-4,2026-03-04,2026-03-20,open,",
    )
    (folder / "follow_ups.csv").write_text(FOLLOW_UPS + "\n".join(rows) + "\n", encoding="utf-8")
    report = load([folder], path, today=date(2026, 3, 20))
    assert report.calls == f"2 calls closed by load {report.load_id}."
    told = {one.key: (one.state, one.last.by, one.last.text, one.last.day) for one in Entries(path).all("call")}
    assert told == {
        "FIT-1": ("closed", f"load {report.load_id}", f"closed by load {report.load_id}: attended", date(2026, 3, 17)),
        "FIT-2": ("closed", f"load {report.load_id}", f"closed by load {report.load_id}: booked", date(2026, 3, 20)),
        "FIT-3": ("called", "dora", "", date(2026, 3, 3)),
    }
    # Brought again, it closes nothing twice.
    assert close_calls(path, report.load_id or 0) == ""


def test_a_load_that_is_undone_reopens_what_it_had_closed_and_nothing_else(tmp_path: Path) -> None:
    path = tmp_path / "w.duckdb"
    fits = ("FIT-1", "FIT-2", "FIT-3")
    load([exports(tmp_path / "first", dict.fromkeys(fits, ("insole_low", -3.0)))], path, today=date(2026, 3, 3))
    for fit in fits:
        Entries(path).say_about("call", "rider_follow_up", fit, Event(0, "", "dora", "again", date(2026, 3, 9)))
    folder = tmp_path / "second"
    folder.mkdir()
    rows = "".join(f"U{fit[-1]},{fit},2026-03-03,2026-03-17,attended,2026-03-17\n" for fit in fits)
    (folder / "follow_ups.csv").write_text(FOLLOW_UPS + rows, encoding="utf-8")
    second = load([folder], path, today=date(2026, 3, 20)).load_id or 0
    # One of them is marked anew since: that stays as it is.
    Entries(path).say_about("call", "rider_follow_up", "FIT-3", Event(0, "", "dora", "declined", date(2026, 3, 21)))
    undone = undo(path, second)
    assert undone.calls == f"2 calls reopened since load {second} was undone."
    told = {
        one.key: [(event.state, event.by, event.day, event.text) for event in one.events]
        for one in Entries(path).all("call")
        if one.key != "FIT-3"
    }
    again = ("again", "dora", date(2026, 3, 9))
    closed = ("closed", f"load {second}", date(2026, 3, 17), f"closed by load {second}: attended")
    assert told == {
        fit: [(*again, ""), closed, (*again, f"reopened since load {second} was undone")] for fit in ("FIT-1", "FIT-2")
    }
    assert [one.state for one in Entries(path).all("call") if one.key == "FIT-3"] == ["closed", "declined"]
    # Undone once, it reopens nothing more; the first load closed nothing.
    assert reopen_calls(path, second) == "" == reopen_calls(path, 1)


def test_a_call_that_was_reopened_says_so_on_the_list(studio: Warehouse) -> None:
    said = "reopened since load 2 was undone"
    entry = call("S6", ("again", date(2026, 7, 2)), ("closed", date(2026, 7, 1)), ("again", date(2026, 7, 2)))
    entry = replace(entry, events=(*entry.events[:-1], replace(entry.last, text=said)))
    (row,) = asked(studio, 1, entry).marked
    assert row.words == f"to be called again on 2 Jul 2026, noted by dora; {said}"


def test_a_fit_called_twice_counts_from_its_first_call(memory: Warehouse) -> None:
    """The second call, after a load closed the first, does not make of a called rider one who was not called."""
    entries = called_studio(memory, 4, 4)
    late = Event(1, "2026-06-09T09:00:00Z", "dora", "called", date(2026, 6, 9))
    anew = tuple(replace(entry, entry_id=f"{entry.entry_id}-2", events=(late,)) for entry in entries)
    settings = SETTINGS.model_copy(update={"minimum": SETTINGS.minimum.model_copy(update={"rows_shown": 3})})
    told = calls.ask(memory, parse_selection({}), settings, date(2026, 7, 1), entries=Entered((*entries, *anew))).calling
    assert told.startswith("Of 4 riders called within 7 days of coming on this list 100\u00a0% came")


def test_a_logbook_that_cannot_be_written_is_said_and_the_load_stands(tmp_path: Path) -> None:
    path = tmp_path / "w.duckdb"
    Entries(path).say_about("call", "rider_follow_up", "FIT-1", Event(0, "", "dora", "called", date(2026, 3, 3)))
    file = tmp_path / "w.duckdb.logbook"
    file.write_bytes(file.read_bytes()[:5000])
    report = load([exports(tmp_path / "first", {"FIT-1": ("insole_low", -3.0)})], path, today=date(2026, 3, 3))
    assert report.load_id == 1
    assert report.calls.startswith("The load is in place; calls in the logbook were not closed by it: ")

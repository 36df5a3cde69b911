"""What the front desk marks, on the eleven fits of test_calls: who is called again when, and what a load closes.

On 1 July 2026 the list is R6 of S6 (over), R3 of S3, R5 of S11 (not booked), R8 of S9 (due).
"""

from datetime import date
from pathlib import Path

import pytest

from dashboard.questions.door.notes import calls_without_measures
from dashboard.questions.returns import calls
from dashboard.questions.returns.answers_calls import Calls
from dashboard.questions.selection.selection import parse_selection
from etl.calls_closed import close_calls
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


def test_a_logbook_that_cannot_be_written_is_said_and_the_load_stands(tmp_path: Path) -> None:
    path = tmp_path / "w.duckdb"
    Entries(path).say_about("call", "rider_follow_up", "FIT-1", Event(0, "", "dora", "called", date(2026, 3, 3)))
    file = tmp_path / "w.duckdb.logbook"
    file.write_bytes(file.read_bytes()[:5000])
    report = load([exports(tmp_path / "first", {"FIT-1": ("insole_low", -3.0)})], path, today=date(2026, 3, 3))
    assert report.load_id == 1
    assert report.calls.startswith("The load is in place; calls in the logbook were not closed by it: ")

"""Follow-ups that are due as a calendar file, held against the rules of RFC 5545 and against what it may tell."""

import re
import shutil
from collections.abc import Iterator
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from typer.testing import CliRunner

from dashboard.cli import app
from dashboard.export.calendar import calendar_of
from dashboard.questions.returns.answers_calls import BookedRow, CallRow, Calls
from dashboard.questions.selection.selection import Selection
from shared.statistics.wording import counted
from tests.attack.house import ASIDE, House, open_house
from tests.conftest import TODAY

MADE_AT = datetime(2026, 8, 31, 7, 5, 9, tzinfo=UTC)


def calls_on(today: date, *rows: CallRow, booked: tuple[BookedRow, ...] = ()) -> Calls:
    return Calls(date(2026, 8, 28), {}, "", {}, today, 4, 4, "", rows, booked, ())


def call(session_id: str, rider_id: str, days_over: int, due_on: date | None) -> CallRow:
    state = "not_booked" if due_on is None else "over" if days_over else "due"
    fit = (session_id, date(2026, 7, 1))
    return CallRow(state, rider_id, days_over, "north", "F1", *fit, due_on, due_on and f"U-{session_id}", due_on, "words")


OVER = call("S0001", "R0655", 28, date(2026, 8, 3))
DUE_TODAY = call("S0002", "R;7,\\ü" + "x" * 80, 0, date(2026, 8, 31))
NOT_BOOKED = call("S0003", "R0009", 12, None)
AHEAD = BookedRow("R0010", date(2026, 12, 31), 122, "north", "F1", "S0004", date(2026, 8, 1), "U-S0004", date(2026, 8, 1))
DUE = calls_on(TODAY, OVER, DUE_TODAY, NOT_BOOKED, booked=(AHEAD,))
IDS = [word for row in (OVER, DUE_TODAY, NOT_BOOKED, AHEAD) for word in (row.rider_id, row.session_id, "U-" + row.session_id)]


def events(text: bytes) -> list[dict[str, str]]:
    """The properties of each event by name, unfolded as section 3.1 says; no library has a hand in it."""
    lines = re.sub(rb"\r\n[ \t]", b"", text).decode("utf-8").split("\r\n")
    found: list[dict[str, str]] = []
    for line in lines:
        if line == "BEGIN:VEVENT":
            found.append({})
        elif found and ":" in line:
            name, _, value = line.partition(":")
            found[-1].setdefault(name, value)
    return found


def test_lines_are_folded_and_end_as_the_rules_say() -> None:
    text = calendar_of(DUE, with_riders=True, made_at=MADE_AT)
    assert text.endswith(b"END:VCALENDAR\r\n")
    assert b"\n" not in text.replace(b"\r\n", b"") and b"\r" not in text.replace(b"\r\n", b"")
    assert max(map(len, text.split(b"\r\n"))) <= 75  # octets, without the line's end (3.1)
    text.decode("utf-8")
    for line in text.split(b"\r\n"):
        line.decode("utf-8")  # no letter is cut in two by a fold
    head = text.split(b"BEGIN:VEVENT")[0].split(b"\r\n")
    assert head[0] == b"BEGIN:VCALENDAR"
    assert b"VERSION:2.0" in head and any(line.startswith(b"PRODID:") for line in head)


def test_each_open_follow_up_is_one_event_of_a_whole_day() -> None:
    over, today, not_booked, ahead = events(calendar_of(DUE, with_riders=False, made_at=MADE_AT))
    assert over["SUMMARY"] == "Call: follow-up was due 3 Aug 2026"
    # What waits stands on today, where somebody looks, and is a later form of the same event.
    assert (over["DTSTART;VALUE=DATE"], over["DTEND;VALUE=DATE"], over["SEQUENCE"]) == ("20260831", "20260901", "28")
    assert today["SUMMARY"] == "Follow-up due"
    assert (today["DTSTART;VALUE=DATE"], today["SEQUENCE"]) == ("20260831", "0")
    assert not_booked["SUMMARY"] == "Call to book a follow-up"
    assert (not_booked["DTSTART;VALUE=DATE"], not_booked["SEQUENCE"]) == ("20260831", "12")
    # The day after the last of a year.
    assert ahead["SUMMARY"] == "Follow-up"
    assert (ahead["DTSTART;VALUE=DATE"], ahead["DTEND;VALUE=DATE"]) == ("20261231", "20270101")
    for event in (over, today, not_booked, ahead):
        assert event["DTSTAMP"] == "20260831T070509Z"
        assert (event["CLASS"], event["TRANSP"]) == ("PRIVATE", "TRANSPARENT")


def test_a_fit_keeps_its_number_from_file_to_file() -> None:
    first = events(calendar_of(DUE, with_riders=False, made_at=MADE_AT))
    now_over = call("S0004", "R0010", 5, date(2026, 12, 31))
    later = events(calendar_of(calls_on(date(2027, 1, 5), now_over, OVER), with_riders=True))
    assert [event["UID"] for event in later] == [first[3]["UID"], first[0]["UID"]]
    assert int(later[0]["SEQUENCE"]) > int(first[3]["SEQUENCE"])
    assert len({event["UID"] for event in first}) == 4


def test_a_rider_is_told_only_where_that_was_asked_for() -> None:
    without = calendar_of(DUE, with_riders=False).decode("utf-8")
    assert [word for word in IDS if word in without] == []
    told = events(calendar_of(DUE, with_riders=True))
    # A semicolon, a comma and a stroke are escaped in a text (3.3.11).
    assert told[1]["SUMMARY"] == r"Follow-up due\, rider R\;7\,\\ü" + "x" * 80
    assert [event["SUMMARY"].rpartition(" ")[2] for event in told[::2]] == ["R0655", "R0009"]


def test_none_due_is_an_empty_calendar() -> None:
    assert events(calendar_of(calls_on(TODAY), with_riders=True)) == []


@pytest.fixture(scope="module")
def house(demo_warehouse: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[House]:
    with open_house(demo_warehouse, tmp_path_factory.mktemp("house")) as house:
        yield house


def test_the_address_gives_each_reader_the_bookings_that_they_may_see(house: House) -> None:
    answer, own = (house.asker.ask("calls", selection) for selection in (Selection(), Selection(fitter=("F2",))))
    assert isinstance(answer, Calls) and isinstance(own, Calls)
    all_due, own_due = ({row.rider_id for row in (*one.calls, *one.booked)} for one in (answer, own))
    assert own_due < all_due
    for name, due in (("olga", all_due), ("finn", own_due)):
        response = house.client(name).get("/download/calls.ics?riders=yes", headers=ASIDE)
        assert (response.status_code, response.mimetype) == (200, "text/calendar")
        assert response.headers["Content-Disposition"] == 'attachment; filename="follow-ups.ics"'
        assert {event["SUMMARY"].rpartition("rider ")[2] for event in events(response.data)} == due
        plain = house.client(name).get("/download/calls.ics", headers=ASIDE)
        assert len(events(plain.data)) == len(events(response.data))
        assert not any(rider.encode() in plain.data for rider in due)
    assert house.client().get("/download/calls.ics", headers=ASIDE).status_code == 401
    assert house.client("olga").get("/download/calls.ics?weather=fine", headers=ASIDE).status_code == 400


def test_the_command_writes_the_same(demo_warehouse: Path, tmp_path: Path) -> None:
    warehouse = tmp_path / "demo.duckdb"
    shutil.copyfile(demo_warehouse, warehouse)
    out = tmp_path / "new" / "due.ics"
    done = CliRunner().invoke(app, ["calendar", str(out), "--warehouse", str(warehouse), "--from", "2026-01-01"])
    assert done.exit_code == 0, done.output
    n = len(events(out.read_bytes()))
    assert n > 0
    assert f"holds {counted(n, 'follow-up')}, without riders." in done.output
    assert [file.name for file in out.parent.iterdir()] == ["due.ics"]
    refused = CliRunner().invoke(app, ["calendar", str(tmp_path / "due.txt"), "--warehouse", str(warehouse)])
    assert "expected a name that ends in .ics" in str(refused.exception)

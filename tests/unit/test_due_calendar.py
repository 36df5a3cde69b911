"""Follow-ups that are due as a calendar file, held against the rules of RFC 5545 and against what it may tell."""

import re
import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from typer.testing import CliRunner

from dashboard.cli import app
from dashboard.export.calendar import calendar_of
from dashboard.questions.selection.selection import Selection
from shared.statistics.wording import counted
from tests.attack.house import ASIDE, House, open_house
from tests.conftest import TODAY

MADE_AT = datetime(2026, 8, 31, 7, 5, 9, tzinfo=UTC)


@dataclass(frozen=True)
class Booking:
    follow_up_id: str
    rider_id: str
    due_on: date


DUE = (
    Booking("U1", "R0655", date(2026, 8, 3)),
    Booking("U2", "R;7,\\ü" + "x" * 80, date(2026, 8, 31)),
    Booking("U3", "R9", date(2026, 12, 31)),
)


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
    text = calendar_of(DUE, TODAY, with_riders=True, made_at=MADE_AT)
    assert text.endswith(b"END:VCALENDAR\r\n")
    assert b"\n" not in text.replace(b"\r\n", b"") and b"\r" not in text.replace(b"\r\n", b"")
    assert max(map(len, text.split(b"\r\n"))) <= 75  # octets, without the line's end (3.1)
    text.decode("utf-8")
    for line in text.split(b"\r\n"):
        line.decode("utf-8")  # no letter is cut in two by a fold
    head = text.split(b"BEGIN:VEVENT")[0].split(b"\r\n")
    assert head[0] == b"BEGIN:VCALENDAR"
    assert b"VERSION:2.0" in head and any(line.startswith(b"PRODID:") for line in head)


def test_each_booking_is_one_event_of_a_whole_day() -> None:
    overdue, today, ahead = events(calendar_of(DUE, TODAY, with_riders=False, made_at=MADE_AT))
    assert overdue["SUMMARY"] == "Follow-up overdue since 3 Aug 2026"
    # What is overdue stands on today, and is a later form of the same event.
    assert (overdue["DTSTART;VALUE=DATE"], overdue["DTEND;VALUE=DATE"], overdue["SEQUENCE"]) == ("20260831", "20260901", "28")
    assert today["SUMMARY"] == ahead["SUMMARY"] == "Follow-up due"
    assert (today["DTSTART;VALUE=DATE"], today["SEQUENCE"]) == ("20260831", "0")
    # The day after the last of a year.
    assert (ahead["DTSTART;VALUE=DATE"], ahead["DTEND;VALUE=DATE"]) == ("20261231", "20270101")
    for event in (overdue, today, ahead):
        assert event["DTSTAMP"] == "20260831T070509Z"
        assert (event["CLASS"], event["TRANSP"]) == ("PRIVATE", "TRANSPARENT")


def test_the_same_booking_keeps_its_number_from_file_to_file() -> None:
    first = events(calendar_of(DUE, TODAY, with_riders=False, made_at=MADE_AT))
    later = events(calendar_of(DUE[::-1], date(2026, 9, 20), with_riders=True))[::-1]
    assert [event["UID"] for event in first] == [event["UID"] for event in later]
    assert len({event["UID"] for event in first}) == 3
    assert not any(booking.follow_up_id in event["UID"] for event, booking in zip(first, DUE, strict=True))
    assert [int(event["SEQUENCE"]) for event in later] == [48, 20, 0]


def test_a_rider_is_told_only_where_that_was_asked_for() -> None:
    without = calendar_of(DUE, TODAY, with_riders=False)
    assert not any(booking.rider_id.encode() in without or booking.follow_up_id.encode() in without for booking in DUE)
    told = events(calendar_of(DUE, TODAY, with_riders=True))
    # A semicolon, a comma and a stroke are escaped in a text (3.3.11).
    assert told[1]["SUMMARY"] == r"Follow-up due\, rider R\;7\,\\ü" + "x" * 80


def test_none_due_is_an_empty_calendar() -> None:
    assert events(calendar_of((), TODAY, with_riders=True)) == []


@pytest.fixture(scope="module")
def house(demo_warehouse: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[House]:
    with open_house(demo_warehouse, tmp_path_factory.mktemp("house")) as house:
        yield house


def test_the_address_gives_each_reader_the_bookings_that_they_may_see(house: House) -> None:
    answer = house.asker.ask("returns", Selection())
    own = house.asker.ask("returns", Selection(fitter=("F2",)))
    all_due, own_due = ({row.rider_id for row in one.overdue} for one in (answer, own))  # type: ignore[attr-defined]
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

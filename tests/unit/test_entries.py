"""Calls, tasks, notes and goals in the logbook: nothing said is lost, whoever says it at once and however a program ends."""

from datetime import date
from pathlib import Path

import pytest

from shared.errors import LogbookError, UsageError
from shared.logbook import store
from shared.logbook.drawing import Drawing
from shared.logbook.entries import Entries, Event
from shared.logbook.store import Logbook
from tests.unit.at_once import killed_while_writing, on_a_full_disk, write_at_once
from tests.unit.test_logbook import opened


@pytest.fixture
def warehouse(tmp_path: Path) -> Path:
    return tmp_path / "w.duckdb"


def called(state: str, day: date | None = None, by: str = "anna") -> Event:
    return Event(0, "", by, state, day)


def test_an_entry_keeps_all_that_was_said_of_it_in_order(warehouse: Path) -> None:
    entries = Entries(warehouse)
    task = entries.add("task", "figure", "return_rate", by="olga", text="Ask why", day=date(2026, 12, 9), who="finn")
    entries.say(task.entry_id, "open", by="hanna", day=date(2026, 12, 16))
    done = entries.say(task.entry_id, "done", by="finn", text="Riders moved away")
    (kept,) = Entries(warehouse).all("task")
    assert kept == done
    assert [(event.event_no, event.by, event.state) for event in kept.events] == [
        (1, "olga", "open"), (2, "hanna", "open"), (3, "finn", "done"),
    ]  # fmt: skip
    assert (kept.text, kept.said, kept.day, kept.who, kept.is_open) == (
        "Ask why", "Riders moved away", date(2026, 12, 16), "finn", False,
    )  # fmt: skip
    with pytest.raises(UsageError, match=r"is done already, by finn on .* Nothing was changed"):
        entries.say(task.entry_id, "dropped", by="olga")
    assert Entries(warehouse).all("note") == ()


def test_a_goal_keeps_its_value_and_the_day_from_which_it_holds(warehouse: Path) -> None:
    made = Entries(warehouse).add("goal", "figure", "knees_better", by="olga", value=0.8, day=date(2026, 7, 1))
    (kept,) = Entries(warehouse).entered(["goal"]).goals
    assert (kept, kept.value, kept.day, kept.entry_id[:2]) == (made, 0.8, date(2026, 7, 1), "G-")
    assert Entries(warehouse).found(made.entry_id, "goal") == made
    with pytest.raises(UsageError, match="no such note in the logbook"):
        Entries(warehouse).found(made.entry_id, "note")


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"text": "x" * 501}, "The text has 501 characters; at most 500 are kept"),
        ({"text": "one\nBcc: all@example.org"}, "holds a line break"),
        ({"text": "\u202eevil"}, "another sign that cannot be shown"),
        ({"who": "x" * 101}, "Who is to do it has 101 characters"),
        ({"key": ""}, "Say what it is about"),
        ({"kind": "anything"}, "Found 'anything', expected what it is about"),
    ],
)
def test_what_cannot_be_shown_is_not_kept(warehouse: Path, given: dict[str, str], words: str) -> None:
    what = {"kind": "figure", "key": "return_rate", **given}
    with pytest.raises(UsageError, match=words):
        Entries(warehouse).add("note", what.pop("kind"), what.pop("key"), by="olga", **what)  # type: ignore[arg-type]
    assert not Logbook(warehouse).file.exists() or Entries(warehouse).all() == ()


def test_what_two_say_of_one_follow_up_is_one_entry(warehouse: Path) -> None:
    entries = Entries(warehouse)
    first = entries.say_about("call", "rider_follow_up", "S1", called("called"))
    second = entries.say_about("call", "rider_follow_up", "S1", called("booked", date(2026, 12, 9), "ben"))
    assert second.entry_id == first.entry_id
    assert [event.by for event in second.events] == ["anna", "ben"]
    assert entries.say_all("call", "rider_follow_up", {"S1": called("closed"), "S2": called("closed")}, only_open=True) == 1
    # Once closed, a further call is another entry.
    assert entries.say_about("call", "rider_follow_up", "S1", called("called")).entry_id != first.entry_id
    assert [one.state for one in entries.all("call")] == ["closed", "called"]


def test_a_logbook_of_the_first_version_gains_the_tables_and_keeps_its_draws(
    warehouse: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as earlier:
        earlier.setattr(store, "LOGBOOK_VERSION", 1)
        comparison = opened(warehouse)
    Entries(warehouse).add("note", "period", "2026-06-01", by="olga", text="New stance rule", day=date(2026, 6, 1))
    assert [one.comparison_id for one in Drawing(warehouse).comparisons()] == [comparison]
    assert [one.text for one in Entries(warehouse).all()] == ["New stance rule"]


def test_what_is_read_follows_the_file(warehouse: Path) -> None:
    assert Entries(warehouse).all() == ()
    Entries(warehouse).add("note", "period", "a", by="olga", text="one")
    assert len(Entries(warehouse).all()) == 1
    Logbook(warehouse).file.unlink()
    assert Entries(warehouse).all() == ()


@pytest.mark.parametrize("share", [0.0, 0.3, 0.8])
def test_a_file_cut_short_is_one_sentence(warehouse: Path, share: float) -> None:
    for number in range(60):
        Entries(warehouse).add("note", "period", f"P{number}", by="olga", text="word " * 20)
    file = Logbook(warehouse).file
    cut = file.read_bytes()[: int(file.stat().st_size * share)]
    file.write_bytes(cut)
    with pytest.raises(LogbookError, match=r"damaged or cut short .* fitledger restore"):
        Entries(warehouse).add("note", "period", "after", by="olga")
    assert file.read_bytes() == cut


def test_who_holds_it_is_waited_for_and_then_told(warehouse: Path) -> None:
    Entries(warehouse).add("note", "period", "a", by="olga")
    with Logbook(warehouse).writing(), pytest.raises(LogbookError, match="another program is writing the logbook"):
        Entries(warehouse, busy_seconds=0.05).add("note", "period", "b", by="olga")
    assert len(Entries(warehouse).all()) == 1


def test_a_full_disk_loses_nothing(warehouse: Path) -> None:
    Entries(warehouse).add("note", "period", "a", by="olga")
    n, words = on_a_full_disk(
        Logbook(warehouse).file,
        "from shared.logbook.entries import Entries",
        f'Entries(Path({str(warehouse)!r})).add("note", "period", f"P{{n}}", by="x", text="word " * 20)',
    )
    assert "Nothing was changed." in words
    assert len(Entries(warehouse).all()) == n + 1


def _call_many(warehouse: str, name: str) -> None:
    for number in range(20):
        Entries(Path(warehouse), busy_seconds=30).say_about("call", "rider_follow_up", f"S{number}", called("called", by=name))


def test_two_writers_at_once_lose_nothing(warehouse: Path) -> None:
    write_at_once(_call_many, *((str(warehouse), name) for name in ("anna", "ben")))
    calls = Entries(warehouse).all("call")
    assert sorted(one.key for one in calls) == sorted(f"S{number}" for number in range(20))
    assert all({event.by for event in one.events} == {"anna", "ben"} for one in calls)


def test_killed_at_any_moment_it_is_whole(warehouse: Path) -> None:
    code = f"""
import os
from pathlib import Path
from shared.logbook.entries import Entries
entries = Entries(Path({str(warehouse)!r}))
for n in range(2000):
    made = entries.add("task", "figure", f"{{os.getpid()}}-{{n}}", by="x", text="word " * 20)
    entries.say(made.entry_id, "done", by="y")
    print(n, flush=True)
"""
    for n_kills in killed_while_writing(code, lambda: len(Entries(warehouse).all())):
        # All that was told is there with both its events.
        assert sum(one.state != "done" for one in Entries(warehouse).all()) <= n_kills
        assert not Logbook(warehouse).faults()

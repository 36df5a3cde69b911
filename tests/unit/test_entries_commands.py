"""Calls, tasks and notes by command: what is printed and kept; and what a note does to the charts over time."""

import json
import shutil
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from dashboard.cli import app
from dashboard.questions.door.asking import Asker
from dashboard.questions.selection.selection import Selection
from dashboard.questions.studio.trends_fits import MOST_WRITTEN, frozen_anew, notes_of
from shared.errors import UsageError
from shared.logbook.entries import Entries, Entry, Event
from shared.settings import Settings, Trends


@pytest.fixture
def warehouse(demo_warehouse: Path, tmp_path: Path) -> Path:
    return Path(shutil.copyfile(demo_warehouse, tmp_path / "demo.duckdb"))


def run(warehouse: Path, *words: str) -> str:
    done = CliRunner().invoke(app, [*words, "--warehouse", str(warehouse)], catch_exceptions=False)
    assert done.exit_code == 0
    return done.output


def test_tasks_are_given_listed_and_ended(warehouse: Path) -> None:
    given = run(warehouse, "task", "add", "Ask why", "--about", "load", "--key", "1", "--who", "finn", "--until", "2026-09-01")
    (task,) = Entries(warehouse).all("task")
    assert given == f"{task.entry_id} is kept.\n"
    assert run(warehouse, "task", "list") == (
        f"{task.entry_id}, load 1, finn, until 2026-09-01, by {task.opened_by}, open: Ask why\n1 task.\n"
    )
    assert run(warehouse, "task", "done", task.entry_id, "--came", "Mended") == f"{task.entry_id} is done. Mended\n"
    assert run(warehouse, "task", "list") == "0 tasks.\n"
    told = json.loads(run(warehouse, "task", "list", "--all", "--json"))
    assert [event["state"] for event in told["tasks"][0]["events"]] == ["open", "done"]
    with pytest.raises(UsageError, match="--about: found 'rumour'"):
        run(warehouse, "task", "add", "x", "--about", "rumour", "--key", "1")


def test_calls_are_listed_and_marked(warehouse: Path) -> None:
    first = run(warehouse, "call", "list").splitlines()[1].split(",")[0]
    assert run(warehouse, "call", "mark", first, "called").startswith(f"{first}: called, as C-")
    (call,) = Entries(warehouse).all("call")
    assert (call.key, call.state) == (first, "called")
    after = run(warehouse, "call", "list")
    assert f"{first}, rider " in after.splitlines()[-1] and ": called on " in after.splitlines()[-1]
    with pytest.raises(UsageError, match="Booked for: name the day"):
        run(warehouse, "call", "mark", first, "booked")


def note(number: int, day: date, key: str = "charts") -> Entry:
    event = Event(1, "2026-07-01T09:00:00Z", "olga", "open", day, text=f"Change {number}")
    return Entry(f"N-{number}", "note", "period", key, "", event.at, "olga", (event,))


def test_the_newest_notes_stand_on_the_charts_beside_those_of_the_settings() -> None:
    trends = Trends.model_validate({"notes": [{"on": "2025-01-09", "words": "New rig"}]})
    written = [note(number, date(2025, 2, 3)) for number in range(MOST_WRITTEN + 5)]
    told = notes_of(trends, written)
    assert [row.words for row in told] == ["New rig", *(f"Change {number}" for number in range(5, MOST_WRITTEN + 5))]
    assert (told[1].period, told[1].entry_id, told[1].freezes) == (date(2025, 2, 1), "N-5", False)


def test_limits_are_frozen_anew_from_the_last_note_that_says_so() -> None:
    trends = Trends()
    assert frozen_anew(trends, [note(1, date(2025, 6, 2))]) is trends
    anew = frozen_anew(trends, [note(1, date(2025, 6, 2), "limits"), note(2, date(2024, 9, 1), "limits")])
    # Twelve months, as the settings say: June 2025 to May 2026.
    assert (anew.base_from, anew.base_to) == (date(2025, 6, 2), date(2026, 5, 1))


def test_a_note_by_command_freezes_the_charts_and_keeps_the_reason(warehouse: Path) -> None:
    def bases() -> set[tuple[date | None, date | None]]:
        answer: Any = asker.ask("trends", Selection())
        return {(row.base_from, row.base_to) for row in answer.charts if row.figure == "comfort_gained"}

    asker = Asker(warehouse, Settings())
    before = bases()
    run(warehouse, "note", "add", "New practice", "--on", "2025-06-02", "--freeze-limits")
    assert bases() == {(date(2025, 6, 1), date(2026, 5, 1))} != before
    answer: Any = asker.ask("trends", Selection())
    ((entry,), (row,)) = Entries(warehouse).all("note"), [row for row in answer.notes if row.freezes]
    assert (row.words, row.entry_id, entry.text) == ("New practice", entry.entry_id, "New practice")
    assert run(warehouse, "note", "list").startswith(f"{entry.entry_id}, period limits, on 2025-06-02, by ")
    assert run(warehouse, "note", "drop", entry.entry_id) == f"{entry.entry_id} is dropped.\n"
    assert bases() == before

"""Goals: set by command, kept, one after the other, told by the process of the figure as it is now."""

import json
import shutil
from datetime import date
from pathlib import Path

import pytest
from typer.testing import CliRunner

from dashboard.cli import app
from dashboard.questions.door.asked_by import AskedBy
from dashboard.questions.door.asking import Asker
from dashboard.questions.door.goals import drop_goal, set_goal, value_given
from dashboard.questions.door.readers import Reader, Role
from dashboard.questions.selection.selection import Selection
from dashboard.questions.studio import trends
from dashboard.questions.studio.answers_trends import GoalRow, Trends
from dashboard.questions.studio.goals import told_together
from shared.errors import NotPermittedError, UsageError
from shared.logbook.entries import Entered, Entry, Event
from shared.settings import Settings
from shared.statistics.goals import reach
from shared.warehouse import Warehouse
from tests.spec.test_trends import settings, studio
from tests.unit.made_trends import made_goal


@pytest.fixture
def filled(memory: Warehouse) -> Warehouse:
    return studio(memory)


@pytest.fixture
def demo_copy(demo_warehouse: Path, tmp_path: Path) -> Path:
    """Whose logbook is its own."""
    return Path(shutil.copy(demo_warehouse, tmp_path / "demo.duckdb"))


def goal(value: float, day: date, *, figure: str = "comfort_gained", state: str = "open", name: str = "G-1") -> Entry:
    event = Event(1, "2026-07-03T08:00:00Z", "olga", "open", day, value)
    said = () if state == "open" else (Event(2, "2026-07-04T08:00:00Z", "olga", state),)
    return Entry(name, "goal", "figure", figure, "", event.at, event.by, (event, *said))


def told(warehouse: Warehouse, *goals: Entry, today: date = date(2026, 8, 10), own: Settings | None = None) -> Trends:
    return trends.ask(warehouse, Selection(), own or settings(), today=today, entries=Entered(goals))


def only(answer: Trends) -> GoalRow:
    (row,) = answer.goals
    return row


def test_a_goal_is_told_by_the_process_since_the_figure_last_moved(filled: Warehouse) -> None:
    """Comfort is 5, 7 and 9 from May on: three months, mean 7, a spread of 2, and limits of few months are wide. August is not
    over and counts for nothing. The months are 1/12 alike (0, corrected by 1/3, a quarter of it): 3 · 11/13 of them."""
    row = only(told(filled, goal(2.0, date(2026, 1, 1))))
    assert (row.verdict, row.n_periods, row.period_from, row.centre) == ("by chance now and then", 3, date(2026, 5, 1), 7)
    half = 2 * reach(33 / 13)
    assert (row.low, row.high) == pytest.approx((7 - half, 7 + half))
    assert row.words == (
        "Goal 2.0\N{NO-BREAK SPACE}points or more: by chance now and then. Nearly every month since May 2026 "
        f"lies at \N{MINUS SIGN}{half - 7:.1f} to {7 + half:.1f} points."
    )


def test_with_too_few_months_since_the_move_it_is_not_enough_yet(filled: Warehouse) -> None:
    few = only(told(filled, goal(2.0, date(2026, 1, 1)), own=settings(base_minimum=4, base_periods=3, base_to="2026-05-31")))
    assert (few.verdict, few.low, few.n_periods) == ("not enough yet", None, 0)
    assert few.words.endswith("not enough yet; 2 of the 4 months that it needs since the figure last moved.")
    bare = only(told(filled, goal(2.0, date(2026, 1, 1)), own=settings(base_minimum=9, base_periods=9)))
    assert bare.verdict == "not enough yet"
    assert bare.words == "Goal 2.0\N{NO-BREAK SPACE}points or more: not enough yet; 6 of the 9 months that a base needs."


def test_a_later_goal_holds_from_its_day_on_and_the_history_is_kept_on_the_chart(filled: Warehouse) -> None:
    goals = (goal(2.0, date(2026, 2, 10)), goal(6.0, date(2026, 6, 1)), goal(8.0, date(2026, 12, 1)))
    answer = told(filled, *goals)
    assert [row.goal for row in answer.trend if row.figure == "comfort_gained"] == [None, 2, 2, 2, 2, 6, 6, 6]
    assert {row.goal for row in answer.trend if row.figure != "comfort_gained"} == {None}
    assert (only(answer).goal, only(answer).valid_from, only(answer).set_by, only(answer).set_on) == (
        6.0, date(2026, 6, 1), "olga", "2026-07-03",
    )  # fmt: skip
    # On the day itself the next one is in force; before any is, the first to come is told with its day.
    assert only(told(filled, *goals, today=date(2026, 12, 1))).goal == 8.0
    coming = only(told(filled, goals[2]))
    assert "Goal 8.0\N{NO-BREAK SPACE}points or more from 1 December 2026 on:" in coming.words


def test_a_dropped_goal_leaves_the_one_before_and_the_last_set_of_a_day_holds(filled: Warehouse) -> None:
    first, second = goal(2.0, date(2026, 2, 1)), goal(6.0, date(2026, 2, 1), name="G-2")
    assert only(told(filled, first, second)).goal == 6.0
    assert only(told(filled, first, goal(6.0, date(2026, 2, 1), state="dropped"))).goal == 2.0


def test_goals_of_the_settings_hold_until_one_is_set(filled: Warehouse) -> None:
    own = settings().model_copy(update={"goals": Settings.model_validate({"goals": {"comfort_gained_points": 4}}).goals})
    answer = told(filled, goal(6.0, date(2026, 6, 1)), own=own)
    assert [row.goal for row in answer.trend if row.figure == "comfort_gained"] == [4, 4, 4, 4, 4, 6, 6, 6]
    assert told(filled).goals == ()


def test_who_fits_own_cases_alone_sets_no_goal(demo_copy: Path) -> None:
    asker = Asker(demo_copy, Settings())
    fitter = AskedBy(asker, lambda: Reader("ada", Role.FITTER, "F2"))
    with pytest.raises(NotPermittedError, match="Goals are set by the owner and the head fitter"):
        set_goal(fitter, "return_rate", 0.5)
    kept = set_goal(AskedBy(asker, lambda: Reader("hanna", Role.HEAD_FITTER)), "return_rate", 0.5)
    assert (kept.opened_by, kept.day) == ("hanna", asker.today())
    with pytest.raises(NotPermittedError):
        drop_goal(fitter, kept.entry_id)
    owner = AskedBy(asker, lambda: Reader("olga", Role.OWNER))
    assert drop_goal(owner, kept.entry_id).last.by == "olga"
    with pytest.raises(UsageError, match="Found 'booked', expected one of comfort_gained"):
        set_goal(owner, "booked", 0.5)
    with pytest.raises(UsageError, match=r"found 120.%, expected a goal of 0.% to 100.%"):
        set_goal(owner, "knees_better", 1.2)


@pytest.mark.parametrize(
    ("text", "value"), [("80%", 0.8), ("80 %", 0.8), ("0.8", 0.8), (" 2.5", 2.5)]
)  # fmt: skip
def test_a_goal_is_typed_as_a_share_or_in_percent(text: str, value: float) -> None:
    assert value_given(text) == pytest.approx(value)


def test_what_is_no_number_is_refused() -> None:
    with pytest.raises(UsageError, match="Found 'eighty', expected a goal as 80%"):
        value_given("eighty")


def test_goals_are_set_listed_and_dropped_by_command(demo_copy: Path) -> None:
    def run(*words: str) -> str:
        done = CliRunner().invoke(app, ["goal", *words, "--warehouse", str(demo_copy)], catch_exceptions=False)
        assert done.exit_code == 0, done.output
        return done.output

    kept = run("set", "return_rate", "20%", "--from", "2025-01-01")
    assert (
        "Fits seen again in time, goal 20\N{NO-BREAK SPACE}% or more: reaches it. Nearly every month since June 2025 lies at"
        in kept
    )
    later = run("set", "return_rate", "99%", "--from", "2026-01-01")
    assert "goal 99\N{NO-BREAK SPACE}% or more: misses it." in later
    entry = later.split()[0]
    listed = run("list")
    assert (
        "2 goals in the logbook." in listed and f"{entry}, return_rate 99\N{NO-BREAK SPACE}% from 2026-01-01, set by" in listed
    )
    assert "goal 20\N{NO-BREAK SPACE}% or more: reaches it." in run("drop", entry)
    rows = json.loads(run("list", "--json"))
    assert [row["verdict"] for row in rows["goals"]] == ["reaches it"]
    assert [one["events"][-1]["state"] for one in rows["entries"]] == ["open", "dropped"]


def test_goals_are_told_together_by_their_verdicts() -> None:
    def goals(**verdicts: str) -> str:
        return told_together(made_goal(figure, 0.5, verdict.replace("_", " ")) for figure, verdict in verdicts.items())

    assert goals() == ""
    assert goals(return_rate="misses it") == "Goals. Misses it: Fits seen again in time."
    assert goals(return_rate="misses it", knees_better="misses it") == "Goals. Misses it: all."
    assert goals(return_rate="misses it", knees_better="reaches it") == (
        "Goals. Misses it: Fits seen again in time. Reaches it: Knees better at departure."
    )
    assert goals(return_rate="reaches it", knees_better="by chance now and then", comfort_gained="by chance now and then") == (
        "Goals. Reaches it: Fits seen again in time. By chance now and then: the others."
    )

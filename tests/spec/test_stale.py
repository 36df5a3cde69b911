"""Old data are told: how old the newest row is; and what is due is told by today's clock.

Nineteen fits by hand. The newest row is of 28 August 2026; today is 30 November 2026, 94 days later.
"""

import json
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient
from markupsafe import Markup
from typer.testing import CliRunner

from dashboard.accounts.store import Accounts
from dashboard.app import create_app
from dashboard.cli import app
from dashboard.components.address import Addresses
from dashboard.components.page import Desk
from dashboard.questions.door.asked_by import AskedBy
from dashboard.questions.door.asking import Asker
from dashboard.questions.door.readers import LOCAL
from dashboard.questions.returns.answers_calls import Calls
from dashboard.questions.returns.answers_returns import Returns
from dashboard.questions.riders.answers_riders import Riders
from dashboard.questions.selection.selection import Selection
from dashboard.report import write
from dashboard.report.short import Section
from etl.keeping.doctor import Check, examine
from etl.load import load
from shared import clock
from shared.clock import spoken_day
from shared.freshness import freshness
from shared.settings import Settings
from tests.attack.house import PASSWORD, sign_in
from tests.every_view import EVERY_VIEW
from tests.spec.tables import write_csv
from tests.unit.page_places import places, texts, unfolded

NEWEST, TODAY = date(2026, 8, 28), date(2026, 11, 30)
# Eight are over by the data's last day, the last of them by 2 days (96 by today); one is due on that very day, which is not
# over yet, and seven later; two are due today and tomorrow, and one that was over is attended.
DUE = [NEWEST - timedelta(days=days) for days in (60, 50, 40, 30, 20, 10, 5, 2)]
LATER = [NEWEST + timedelta(days=days) for days in (0, 1, 7, 14, 30, 60, 80, 93)]
AHEAD = [TODAY, TODAY + timedelta(days=1)]
STALE = "The newest row is of 28 Aug 2026, 94 days ago."


@pytest.fixture(scope="module")
def warehouse(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    folder = tmp_path_factory.mktemp("stale")
    days = [*DUE, *LATER, *AHEAD]
    riders = "\n".join(f"R{n:02}" for n in range(len(days) + 1))
    sessions = "\n".join(
        f"S{n:02} | R{n:02} | F{1 + n % 2} | q | {NEWEST if n == 8 else date(2026, 6, 1)} | first" for n in range(len(days) + 1)
    )
    bookings = "\n".join(f"B{n:02} | S{n:02} | 2026-06-01 | {due} | open | -" for n, due in enumerate(days))
    done = f"B{len(days)} | S{len(days)} | 2026-06-01 | 2026-06-20 | attended | 2026-06-20"
    files = write_csv(
        folder / "x",
        riders=f"rider_id\n{riders}",
        fitters="fitter_id | fitter_name\nF1 | Alder\nF2 | Birch",
        fit_sessions=f"session_id | rider_id | fitter_id | studio_id | session_date | visit_kind\n{sessions}",
        follow_ups=f"follow_up_id | session_id | booked_on | due_on | state | attended_on\n{bookings}\n{done}",
    )
    load([files], folder / "w.duckdb", today=TODAY)
    yield folder / "w.duckdb"


def returns(warehouse: Path, today: date) -> Returns:
    answer = Asker(warehouse, Settings(), lambda: today).ask("returns", Selection())
    assert isinstance(answer, Returns)
    return answer


def over(warehouse: Path, today: date) -> dict[str | None, int]:
    """The days over of each booking that is over, by the answer on calls."""
    answer = Asker(warehouse, Settings(), lambda: today).ask("calls", Selection())
    assert isinstance(answer, Calls)
    return {row.follow_up_id: row.days_over for row in answer.calls if row.state == "over"}


def test_what_is_over_is_told_by_today(warehouse: Path) -> None:
    by_id = over(warehouse, TODAY)
    assert len(by_id) == len(DUE) + len(LATER) == 16
    assert (by_id["B07"], by_id["B08"]) == (2 + 94, 94)
    assert [*over(warehouse, NEWEST).values()] == [60, 50, 40, 30, 20, 10, 5, 2]


def test_rates_and_curve_rest_on_the_last_day_of_the_data_alone(warehouse: Path) -> None:
    then, now = returns(warehouse, NEWEST), returns(warehouse, TODAY)
    assert (then.figures, then.curve, then.at_risk, then.held) == (now.figures, now.curve, now.at_risk, now.held)
    assert then.headline == now.headline


def test_a_clock_that_is_behind_the_data_counts_by_their_last_day_and_is_told(warehouse: Path) -> None:
    assert over(warehouse, date(2026, 8, 1)) == over(warehouse, NEWEST)
    age = Asker(warehouse, Settings(), lambda: date(2026, 8, 1)).freshness()
    assert age.words == "This machine's clock says 1 Aug 2026, but the newest row is of 28 Aug 2026."
    assert not age.is_stale


def test_the_list_of_riders_finds_all_whose_follow_up_is_over_today(warehouse: Path) -> None:
    answer = Asker(warehouse, Settings(), lambda: TODAY).ask("riders", Selection())
    assert isinstance(answer, Riders)
    assert answer.headline.startswith("Of 19 riders 16 have a follow-up over.")
    assert len(answer.riders.where("overdue")) == 16
    told = {row.rider_id: (row.follow_up, row.words) for row in answer.riders}
    assert told["R07"] == ("over", "Follow-up over since 26 Aug 2026.")
    assert told["R09"] == ("over", "Follow-up over since 29 Aug 2026.")
    assert told["R16"] == ("due", "Nothing that asks for a look.")
    assert told["R17"] == ("booked", "Nothing that asks for a look.")


@pytest.mark.parametrize(
    ("today", "words"),
    [
        (NEWEST, ""),
        (NEWEST + timedelta(days=7), ""),
        (NEWEST + timedelta(days=8), "The newest row is of 28 Aug 2026, 8 days ago."),
        (TODAY, STALE),
    ],
)
def test_data_are_old_from_the_day_after_the_limit_on(warehouse: Path, today: date, words: str) -> None:
    age = Asker(warehouse, Settings(), lambda: today).freshness()
    assert (age.words, age.is_stale) == (words, bool(words))
    assert age.newest_row == NEWEST  # of what was done, though bookings are due long after
    lenient = Settings.model_validate({"data": {"stale_after_days": 400}})
    assert Asker(warehouse, lenient, lambda: today).freshness().words == ""


def test_a_warehouse_without_a_row_is_not_old() -> None:
    age = freshness(None, TODAY, Settings())
    assert (age.words, age.age_days, age.is_stale) == ("", None, False)


def page_of(client: FlaskClient, path: str) -> str:
    """What the served page says before anything else is asked for."""
    [layout] = client.get(f"/{path}").get_data(as_text=True).split('data-answers="_dash-layout">')[1:]
    told = unfolded(json.loads(layout.partition("</script>")[0]))
    [note] = [part for part in parts_of(told) if part.get("props", {}).get("id") == "age"]
    return " ".join(texts(note["props"].get("children"))).strip()


def parts_of(told: Any) -> Iterator[dict[str, Any]]:
    if isinstance(told, dict):
        yield told
    for part in told.values() if isinstance(told, dict) else told if isinstance(told, list) else ():
        yield from parts_of(part)


@pytest.mark.parametrize("page", EVERY_VIEW, ids=lambda page: page.name)
def test_every_page_says_at_the_top_that_the_data_are_old(warehouse: Path, page: Any) -> None:
    client = create_app(Asker(warehouse, Settings(), lambda: TODAY)).server.test_client()
    told = page_of(client, page.path)
    assert STALE in told
    assert "Load newer exports" in told and "/data" in told
    fresh = create_app(Asker(warehouse, Settings(), lambda: NEWEST)).server.test_client()
    assert "newest row" not in page_of(fresh, page.path)


def test_whoever_may_not_load_is_told_who_can(warehouse: Path, tmp_path: Path) -> None:
    accounts = Accounts(tmp_path / "w.duckdb")
    accounts.add("finn", "fitter", PASSWORD, "F1")
    client = create_app(Asker(warehouse, Settings(), lambda: TODAY), accounts=accounts).server.test_client()
    assert sign_in(client, "finn", PASSWORD).status_code == 302
    told = page_of(client, "returns")
    assert STALE in told and "The owner or the head fitter can load newer exports." in told
    assert "/data" not in told


def test_a_dashboard_that_runs_over_midnight_counts_the_new_day(warehouse: Path) -> None:
    days = [TODAY]
    asker = Asker(warehouse, Settings(), lambda: days[-1])
    client = create_app(asker).server.test_client()
    before: Any = asker.ask("calls", Selection())
    assert asker.ask("calls", Selection()) is before
    assert STALE in page_of(client, "")
    rates = asker.ask("studio", Selection())
    days.append(TODAY + timedelta(days=1))
    after: Any = asker.ask("calls", Selection())
    # The booking that was due on 30 November is over on the first of December, when the next one is due.
    assert (before.headline[:30], after.headline[:29]) == ("17 calls today, 30 Nov 2026: 1", "18 calls today, 1 Dec 2026: 1")
    assert "95 days ago" in page_of(client, "")
    assert asker.ask("studio", Selection()) is rates  # knows no today, and is not made anew


def newest_row(warehouse: Path, day: int, month: int = 9, settings: Path | None = None) -> Check:
    checks = examine(warehouse, settings, now=datetime(2026, month, day, 12, tzinfo=UTC))
    assert checks[0].name == "newest row"
    return checks[0]


def test_the_doctor_says_first_that_the_data_are_old(warehouse: Path, tmp_path: Path) -> None:
    assert newest_row(warehouse, 4).state == "fine"
    old = newest_row(warehouse, 30, 11)
    assert (old.state, old.words, old.todo) == ("do", STALE, "Load newer exports.")
    longer = tmp_path / "own.toml"
    longer.write_text("[data]\nstale_after_days = 200\n", encoding="utf-8")
    assert newest_row(warehouse, 30, 11, longer).state == "fine"


def test_the_command_says_it_first_and_tells_it_to_programs(warehouse: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(clock, "today", lambda: TODAY)
    words = ["show", "calls", "--warehouse", str(warehouse)]
    told = CliRunner().invoke(app, words).output
    assert told.splitlines()[0] == f"{STALE} Load newer exports."
    assert "17 calls today, 30 Nov 2026: 16 with a follow-up over, 1 due today." in told
    machine = json.loads(CliRunner().invoke(app, [*words, "--json"]).output)
    said = {name: machine[name] for name in ("newest_row", "today", "age_days", "stale_after_days", "is_stale")}
    assert said == {
        "newest_row": "2026-08-28", "today": "2026-11-30", "age_days": 94, "stale_after_days": 7, "is_stale": True
    }  # fmt: skip
    assert {"as_of", "selection", "headline", "calls", "booked", "states"} <= set(machine)
    assert [row["days_over"] for row in machine["calls"]][:2] == [60 + 94, 50 + 94]
    studio = json.loads(CliRunner().invoke(app, ["show", "noise", "--warehouse", str(warehouse), "--json"]).output)
    assert (studio["age_days"], studio["is_stale"]) == (94, True)


def test_the_report_says_it_on_its_cover(warehouse: Path) -> None:
    for today, is_told in ((TODAY, True), (NEWEST, False)):
        asker = Asker(warehouse, Settings(), lambda today=today: today)
        desk = Desk(AskedBy(asker, lambda: LOCAL), Addresses("/"))
        wanted, to_do = write.Wanted("html"), Section(write.TO_DO, "To do", "", [])
        cover = write._document(desk, Selection(), asker.ask("studio", Selection()), [to_do], [Markup("")], wanted, "")
        assert (f"<strong>{STALE}</strong> Load newer exports. Then make this report again." in cover) == is_told
        assert f"Made by fitledger on {spoken_day(today)}, data up to" in cover


def test_the_page_lists_the_calls_of_today(warehouse: Path) -> None:
    told = [
        " ".join(texts(place))
        for place in places(create_app(Asker(warehouse, Settings(), lambda: TODAY)).server.test_client(), "returns/calls", "")
    ]
    said = " ".join(told)
    assert "17 calls today, 30 Nov 2026: 16 with a follow-up over, 1 due today." in said
    assert "154" in said and "29 Jun 2026" in said

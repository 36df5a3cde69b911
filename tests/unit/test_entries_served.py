"""What each role may say and see: marks, tasks and notes by the served route; and the front desk, who sees calls alone."""

import re
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient

from dashboard.app import create_app
from dashboard.components.address import Addresses, read_view
from dashboard.components.entering import goal_form
from dashboard.components.page import Desk
from dashboard.pages import PAGES
from dashboard.questions.door.asked_by import AskedBy
from dashboard.questions.door.asking import Asker
from dashboard.questions.door.goals import set_goal
from dashboard.questions.door.readers import Reader, Role
from dashboard.questions.door.registry import QUESTIONS
from dashboard.questions.selection.selection import Selection, parse_selection
from etl.keeping.access_log import AccessLog
from shared.clock import DEMO_TODAY, set_own_clock
from shared.errors import NotPermittedError
from shared.logbook.entries import Entries
from shared.settings import Settings
from shared.warehouse import open_loading
from tests.every_view import EVERY_VIEW
from tests.unit.page_places import CALLBACK
from warehouse_demo import say_what_was_said

READERS = {
    "local": Reader("", Role.LOCAL),
    "owner": Reader("olga", Role.OWNER),
    "head_fitter": Reader("hanna", Role.HEAD_FITTER),
    "fitter": Reader("finn", Role.FITTER, "F1"),
    "desk": Reader("dora", Role.DESK),
}
HEADERS = {"X-Fitledger": "entries"}


class House:
    """A demo of the test's own, which a reader of a role asks."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.asker = Asker(path, Settings(), lambda: DEMO_TODAY)
        self.reader = READERS["local"]

    def asked(self, role: str) -> AskedBy:
        return AskedBy(self.asker, lambda: READERS[role])

    def client(self, role: str, monkeypatch: pytest.MonkeyPatch) -> FlaskClient:
        monkeypatch.setattr("dashboard.accounts.login.LOCAL", READERS[role])
        return create_app(self.asker).server.test_client()


@pytest.fixture
def house(demo_warehouse: Path, tmp_path: Path) -> House:
    path = tmp_path / "demo.duckdb"
    path.write_bytes(demo_warehouse.read_bytes())
    return House(path)


def enter(client: FlaskClient, **what: str) -> tuple[int, str]:
    response = client.post("/entries", json=what, headers=HEADERS)
    return response.status_code, response.get_json()["words"]


def fits_called(house: House, role: str = "local") -> list[str]:
    answer: Any = house.asked(role).ask("calls", Selection())
    return [row.session_id for row in answer.calls]


def test_the_front_desk_is_answered_calls_without_measures_and_no_other_question(house: House) -> None:
    """The table of questions: one entry each, whatever is added to the registry."""
    asked, allowed = house.asked("desk"), []
    for question in QUESTIONS:
        try:
            asked.ask(question, Selection())
            allowed.append(question)
        except NotPermittedError as refusal:
            assert "The front desk sees whom to call" in str(refusal)
    assert allowed == ["calls"]
    answer: Any = asked.ask("calls", Selection())
    assert len(answer.calls) > 10 and {row.last_result for row in answer.calls} == {""}
    owner: Any = house.asked("owner").ask("calls", Selection())
    assert any(row.last_result.startswith("comfort ") for row in owner.calls)


@pytest.mark.parametrize(
    "asked_for",
    [
        {"arch_height": ("low",)},
        {"forefoot": ("neutral",)},
        {"split": "sex"},
        {"bike_kind": ("road",)},
        {"side": ("left",)},
        {"riding": ("touring",)},
    ],
)
def test_the_front_desk_cannot_sort_riders_out_by_what_was_measured(house: House, asked_for: dict[str, Any]) -> None:
    with pytest.raises(NotPermittedError, match="Choose by dates, studio, fitter or rider alone"):
        house.asked("desk").ask("calls", Selection(**asked_for))


@pytest.mark.parametrize(
    ("door", "words"),
    [
        (lambda asked: asked.foresee(None), "sees whom to call"),
        (lambda asked: asked.look_up(lambda warehouse: warehouse), "sees whom to call"),
        (lambda asked: asked.require_loading(), "for the owner and the head fitter"),
        (lambda asked: asked.require_received("riders"), "for the owner and the head fitter"),
    ],
)
def test_every_other_door_is_closed_to_the_front_desk(house: House, door: Any, words: str) -> None:
    with pytest.raises(NotPermittedError, match=words):
        door(house.asked("desk"))


def test_the_front_desk_meets_one_page(house: House, monkeypatch: pytest.MonkeyPatch) -> None:
    client = house.client("desk", monkeypatch)
    for shown in EVERY_VIEW:
        response = client.get(f"/{shown.path}")
        if shown.path == "returns/calls":
            assert response.status_code == 200
            nav = re.findall(r'"href": ?"(/[^"]*)"', response.get_data(as_text=True))
            assert not [href for href in nav if href.split("?")[0] in {f"/{page.path}" for page in PAGES}]
        elif shown.path in ("", "returns"):
            assert (response.status_code, response.headers["Location"]) == (302, "/returns/calls"), shown.path
        else:
            assert response.status_code == 403, shown.path


def test_the_front_desk_is_refused_every_other_route(house: House, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every rule of the server, so that a route that is added is refused until it is named."""
    client = house.client("desk", monkeypatch)
    answered = set()
    for rule in client.application.url_map.iter_rules():
        address = re.sub(r"<[^>]*>", "x", rule.rule)
        method = "GET" if "GET" in (rule.methods or ()) else "POST"
        response = client.open(address, method=method)
        if response.status_code != 403:
            answered.add(rule.rule)
    assert {rule for rule in answered if not rule.startswith(("/assets", "/_dash-component-suites", "/_dash-"))} <= {
        "/", "/<path:path>", "/entries", "/download/calls.ics", "/health", "/_favicon.ico", "/static/<path:filename>",
    }  # fmt: skip
    for question in QUESTIONS:
        assert client.get(f"/download/{question}.csv").status_code == (200 if question == "calls" else 403), question
    for address in (
        "download/letter.pdf",
        "download/report.html",
        "mend/riders.csv",
        "views",
        "download/shown/riders-list.csv",
    ):
        assert client.get(f"/{address}").status_code == 403, address
    assert client.get("/download/calls.ics").status_code == 200


def test_the_front_desk_is_offered_the_filters_that_it_may_use(house: House, monkeypatch: pytest.MonkeyPatch) -> None:
    """Dates, studio and fitter; the button is for phones, where it opens these."""
    shown = {}
    for role in ("desk", "owner"):
        page = house.client(role, monkeypatch).get("/_dash-layout").get_data(as_text=True)
        further = re.findall(r'"className":"filter is-further"(,"hidden":true)?', page)
        shown[role] = (len(further), len([one for one in further if one]), '"className":"button is-narrow"' in page)
    (n, n_hidden, is_narrow), of_owner = shown["desk"], shown["owner"]
    assert n > 5 and n_hidden == n and is_narrow
    assert of_owner == (n, 0, False)


def test_what_is_nobodys_task_is_named_until_it_is_given(house: House, monkeypatch: pytest.MonkeyPatch) -> None:
    july = read_view("from=2026-07-01&to=2026-07-31")
    show = next(page for page in PAGES if not page.path).shows(Desk(house.asked("owner"), Addresses("/")))["studio-tasks"]
    fits: Any = house.asked("owner").ask("agreement", july.selection)
    assert fits.n_to_look_at == 4
    told = _texts(show(july, None))
    assert "4 fits of these dates to look at" in told and "43 rows left out, to mend" in told
    client = house.client("owner", monkeypatch)
    for kind, key in (("fit", fits.worst[0].session_id), ("load", "1")):
        assert enter(client, do="add", sort="task", kind=kind, key=key, text="Look.", address="/")[0] == 200
    told = _texts(show(july, None))
    assert "3 fits of these dates to look at" in told and not [one for one in told if "rows left out" in one]
    # A full stop that was typed is no part of the line.
    assert len([one for one in told if one.startswith("Look: given by olga on ")]) == 2


def test_no_callback_tells_the_front_desk_of_a_measure(house: House, monkeypatch: pytest.MonkeyPatch) -> None:
    client = house.client("desk", monkeypatch)
    places = [place for page in PAGES for view in page.views for place in view.layout() if isinstance(place, str)]
    for place in [*places, *(page.head_id for page in PAGES)]:
        body = {
            "output": f"{place}.children",
            "outputs": {"id": place, "property": "children"},
            "inputs": [{"id": "view", "property": "data", "value": ""}, {"id": "theme", "property": "data", "value": None}],
            "changedPropIds": [],
            "state": [],
        }
        response = client.post(CALLBACK, json=body)
        text = response.get_data(as_text=True)
        assert response.status_code in (200, 204, 400), place
        if place not in ("returns-calls", "returns-head"):
            assert not re.search(r"R0\d{3}|S0\d{4}| %", text), place
        assert "comfort" not in text, place


def test_a_call_is_marked_by_whoever_sees_it_and_told_by_name(house: House, monkeypatch: pytest.MonkeyPatch) -> None:
    first, second, *_ = fits_called(house)
    desk = house.client("desk", monkeypatch)
    assert enter(desk, do="mark", session=first, mark="called") == (200, "Called.")
    assert enter(desk, do="mark", session=second, mark="booked", day="2026-09-07") == (200, "Booked for 7 Sep 2026.")
    assert fits_called(house)[:1] not in ([first], [second])
    (called, booked) = Entries(house.path).all("call")
    assert (called.last.by, called.last.day, booked.last.day) == ("dora", DEMO_TODAY, booked.day)
    assert [(entry.who, entry.did) for entry in AccessLog(house.path).entries()][-1] == ("dora", "marked a call")
    # A mark can be taken back.
    assert enter(desk, do="mark", session=first, mark="waiting")[0] == 200
    assert first in fits_called(house)


@pytest.mark.parametrize(
    ("what", "status", "words"),
    [
        ({"do": "mark", "session": "S99999", "mark": "called"}, 400, "no call about this fit is on the list of today"),
        ({"do": "mark", "session": "S99999", "mark": "shouted"}, 400, "expected one of called, booked, declined, again"),
        ({"do": "mark", "session": "S99999", "mark": "booked"}, 400, "name the day"),
        ({"do": "mark", "session": "S99999", "mark": "again", "day": "2026-08-30"}, 400, "this day is past"),
        ({"do": "mark", "session": "S99999", "mark": "again", "day": "soon"}, 400, "expected a day"),
        ({"do": "erase"}, 400, "nothing that can be entered"),
        ({"do": "add", "sort": "call", "kind": "figure", "key": "x", "text": "x"}, 400, "nothing that can be entered"),
        ({"do": "add", "sort": "goal", "kind": "figure", "key": "x", "text": "x"}, 400, "expected a goal as 80%, 0.8 or 2.5"),
        (
            {"do": "add", "sort": "goal", "kind": "figure", "key": "booked", "text": "80%"},
            400,
            "expected one of comfort_gained",
        ),
        ({"do": "add", "sort": "goal", "kind": "figure", "key": "return_rate", "text": "nan"}, 400, "a goal of 0"),
        ({"do": "say", "sort": "goal", "entry": "G-0", "state": "dropped"}, 400, "no such goal"),
        ({"do": "say", "sort": "goal", "entry": "G-0", "state": "done"}, 400, "taken back, or changed by a later one"),
        ({"do": "add", "sort": "task", "kind": "rumour", "key": "x", "text": "x"}, 400, "what it is about"),
        ({"do": "add", "sort": "task", "kind": "figure", "key": "x", "text": " ", "address": "/"}, 400, "what is to be done"),
        ({"do": "add", "sort": "note", "kind": "period", "key": "charts", "text": "x", "address": "/"}, 400, "on which day"),
        (
            {"do": "add", "sort": "task", "kind": "figure", "key": "x", "text": "x", "address": "//else"},
            400,
            "addresses of this",
        ),
        ({"do": "say", "sort": "task", "entry": "T-0", "state": "done"}, 400, "no such task"),
    ],
)
def test_what_cannot_be_entered_is_a_sentence(
    house: House, monkeypatch: pytest.MonkeyPatch, what: dict[str, str], status: int, words: str
) -> None:
    found, told = enter(house.client("owner", monkeypatch), **what)
    assert (found, words in told) == (status, True), told
    assert Entries(house.path).all() == ()


def test_a_page_of_another_site_enters_nothing(house: House, monkeypatch: pytest.MonkeyPatch) -> None:
    client, what = house.client("owner", monkeypatch), {"do": "mark", "session": fits_called(house)[0], "mark": "called"}
    assert client.post("/entries", json=what).status_code == 400
    assert client.post("/entries", json=what, headers={**HEADERS, "Sec-Fetch-Site": "cross-site"}).status_code == 403
    assert client.post("/entries", data=str(what), headers=HEADERS).status_code >= 400
    assert Entries(house.path).all() == ()


def test_goals_by_role(house: House, monkeypatch: pytest.MonkeyPatch) -> None:
    """The owner and the head fitter set them; the page tells all but the front desk what became of them."""
    goal = {"do": "add", "sort": "goal", "kind": "figure", "key": "return_rate", "text": "5%"}
    told = {role: enter(house.client(role, monkeypatch), **goal) for role in READERS}
    assert {role: status for role, (status, _) in told.items()} == {
        "local": 200, "owner": 200, "head_fitter": 200, "fitter": 403, "desk": 403,
    }  # fmt: skip
    assert told["owner"][1] == "The goal is kept."
    assert [(one.opened_by, one.value, one.day) for one in Entries(house.path).all("goal")] == [
        (by, 0.05, DEMO_TODAY) for by in ("this machine", "olga", "hanna")
    ]
    for role in ("owner", "fitter"):
        answer: Any = house.asked(role).ask("trends", Selection())
        assert [(row.figure, row.verdict, row.set_by) for row in answer.goals] == [("return_rate", "reaches it", "hanna")]


def test_goals_are_changed_and_taken_back_on_the_page_by_role(house: House, monkeypatch: pytest.MonkeyPatch) -> None:
    """Who may set goals sees those that were set in the form, each with its way back; a fitter sees what came of them alone."""
    for value, day in ((0.2, date(2025, 1, 1)), (0.99, date(2026, 1, 1))):
        set_goal(house.asked("owner"), "return_rate", value, day)
    first, last = Entries(house.path).all("goal")
    assert _goals_offered(house, "owner") == [
        (last.entry_id, "99\u00a0% from 1 Jan 2026 on, set by olga"),
        (first.entry_id, "20\u00a0% from 1 Jan 2025 on, set by olga"),
    ]
    assert _goals_offered(house, "fitter") == []
    say = {"do": "say", "sort": "goal", "entry": last.entry_id, "state": "dropped"}
    told = {role: enter(house.client(role, monkeypatch), **say) for role in ("fitter", "desk", "head_fitter", "owner")}
    assert {role: status for role, (status, _) in told.items()} == {
        "fitter": 403, "desk": 403, "head_fitter": 200, "owner": 400,
    }  # fmt: skip
    assert told["head_fitter"][1] == "The goal is taken back." and "is dropped already, by hanna" in told["owner"][1]
    assert [entry_id for entry_id, _ in _goals_offered(house, "owner")] == [first.entry_id]
    answer: Any = house.asked("fitter").ask("trends", Selection())
    assert [(row.goal, row.verdict) for row in answer.goals] == [(0.2, "reaches it")]


def _goals_offered(house: House, role: str) -> list[tuple[str, str]]:
    """The goals that a reader may take back in the form of the figure, with their words."""
    form = goal_form(Desk(house.asked(role), Addresses("/")), "return_rate", "for fits seen again")
    if form is None:
        return []
    lines = form.children[-1].children if len(form.children) > 2 else []
    return [(getattr(line.children[2], "data-drop"), line.children[0].children) for line in lines]


def test_tasks_by_role(house: House, monkeypatch: pytest.MonkeyPatch) -> None:
    """Owner and head fitter give any; a fitter on figures and on own fits; the front desk none."""
    fits = {row["fitter_id"]: row["session_id"] for row in house.asker.look_up(lambda w: w.rows("SELECT * FROM mart.fits"))}
    about = {
        "figure": ("figure", "return_rate"), "load": ("load", "1"), "own fit": ("fit", fits["F1"]),
        "other fit": ("fit", fits["F3"]),
    }  # fmt: skip
    told = {}
    for role in READERS:
        client = house.client(role, monkeypatch)
        for name, (kind, key) in about.items():
            told[role, name] = enter(client, do="add", sort="task", kind=kind, key=key, text="Look", address="/")[0]
    everything = {(role, name): 200 for role in ("local", "owner", "head_fitter") for name in about}
    assert told == everything | {
        ("fitter", "figure"): 200, ("fitter", "load"): 403, ("fitter", "own fit"): 200, ("fitter", "other fit"): 403,
        **{("desk", name): 403 for name in about},
    }  # fmt: skip


def test_a_text_is_shown_where_the_finding_stands_and_never_runs(house: House, monkeypatch: pytest.MonkeyPatch) -> None:
    client, text = house.client("owner", monkeypatch), "<img src=x onerror=alert(1)> **bold**"
    about = {"kind": "figure", "key": "comfort_gained", "address": "/over-time"}
    assert enter(client, do="add", sort="task", text=text, who="finn", **about)[0] == 200
    over_time = next(page for page in PAGES if not page.path)
    show = over_time.shows(Desk(house.asked("owner"), Addresses("/")))["studio-over-time"]
    (told,) = [part for part in _texts(show(read_view(""), None)) if "onerror" in part]
    # A child of an element as it was typed: React writes it as text, and nothing makes markup of it.
    assert told.startswith(f"{text}: finn, given by olga on ")


def _texts(node: Any) -> list[str]:
    if isinstance(node, list | tuple):
        return [text for part in node for text in _texts(part)]
    return [node] if isinstance(node, str) else _texts(getattr(node, "children", None) or [])


def test_in_the_demo_a_task_on_a_figure_ends_with_what_the_figure_did_since(
    house: House, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The demo's entries are dated by its own clock: 2 March to 31 August 2026, against as long before."""
    with open_loading(house.path) as warehouse:
        set_own_clock(warehouse, DEMO_TODAY)
    house.asker = Asker(house.path, Settings())
    say_what_was_said(house.path)
    (task,) = Entries(house.path).all("task")
    assert (task.opened_on, task.day) == (date(2026, 3, 2), date(2026, 9, 15))
    status, words = enter(house.client("owner", monkeypatch), do="say", sort="task", entry=task.entry_id, state="done")
    (done,) = Entries(house.path).all("task")
    assert done.ended_on == DEMO_TODAY
    assert (status, words) == (200, f"The task is done. {done.said}")
    periods: Any = house.asker.ask("periods", parse_selection({"from": "2026-03-03", "to": "2026-08-31"}))
    row = next(row for row in periods.changes if (row.figure, row.against) == ("return_rate", "before"))
    assert done.said == f"Since then, against as long before: {row.words}".replace("\u00a0", " ")
    assert re.search(r"\d+ .*\(.*\d+ to .*\d+.*\)", done.said), "no interval is told"
    # What a reader of the demo says today is dated by the demo's today as well.
    note = {"do": "add", "sort": "note", "kind": "period", "key": "charts", "text": "Moved house", "day": "2026-08-30"}
    assert enter(house.client("owner", monkeypatch), address="/", **note)[0] == 200
    assert Entries(house.path).all("note")[-1].opened_on == DEMO_TODAY


def test_a_task_on_a_figure_ends_with_what_the_figure_did_since(house: House, monkeypatch: pytest.MonkeyPatch) -> None:
    client = house.client("owner", monkeypatch)
    enter(client, do="add", sort="task", kind="figure", key="return_rate", text="Ask why", address="/?studio=quayside")
    (task,) = Entries(house.path).all("task")
    monkeypatch.setattr("dashboard.questions.door.entering._given_on", lambda _: date(2026, 3, 1))
    assert enter(client, do="say", sort="task", entry=task.entry_id, state="done", text="Booked at the desk")[0] == 200
    (done,) = Entries(house.path).all("task")
    periods: Any = house.asker.ask("periods", parse_selection({"studio": "quayside", "from": "2026-03-01", "to": "2026-08-31"}))
    row = next(row for row in periods.changes if (row.figure, row.against) == ("return_rate", "before"))
    assert done.said == f"Booked at the desk. Since then, against as long before: {row.words}".replace("\u00a0", " ")
    assert re.search(r"\(.* to .*\)", row.words), "no interval is told"
    assert enter(client, do="say", sort="task", entry=task.entry_id, state="dropped")[0] == 400
    # The demo ends before this task begins: nothing is compared, and that is said.
    monkeypatch.setattr("dashboard.questions.door.entering._given_on", lambda _: date(2026, 8, 31))
    enter(client, do="add", sort="task", kind="figure", key="return_rate", text="Ask again", address="/")
    enter(client, do="say", sort="task", entry=Entries(house.path).all("task")[-1].entry_id, state="done")
    assert Entries(house.path).all("task")[-1].said == "What the figure did since cannot be told yet."

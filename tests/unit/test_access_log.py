"""The log of access: whole lines from several processes, nothing lost or torn, kept for a set time, and rid of a forgotten
rider."""

import json
import resource
import stat
import subprocess
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from flask import Response
from typer.testing import CliRunner

from dashboard.accounts import access as module
from dashboard.accounts.access import LOOK_SECONDS, THIS_MACHINE, UNKNOWN, ReaderNotes
from dashboard.cli import app
from dashboard.questions.door.readers import LOCAL, Reader, Role
from etl.keeping import access_log
from etl.keeping.access_log import AccessLog, Entry, forget_in_log
from etl.keeping.spelling import Speller
from shared.errors import AccessLogError
from tests.unit.door import PAGE, PASSWORD, DoorHouse, cookies_of, download, is_in, sign_in, words_of

START = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
# The command looks at the machine's own clock.
NOW = datetime.now(UTC)


class Clock:
    def __init__(self) -> None:
        self.now = START

    def __call__(self) -> datetime:
        return self.now


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def log(tmp_path: Path, clock: Clock) -> AccessLog:
    return AccessLog(tmp_path / "w.duckdb", kept_days=30, clock=clock)


@pytest.fixture
def house(tmp_path: Path) -> DoorHouse:
    house = DoorHouse(tmp_path / "studio.duckdb")
    house.accounts.add("olga", "owner", PASSWORD)
    return house


WRITE_MANY = """
import sys
from pathlib import Path
from etl.keeping.access_log import AccessLog
log = AccessLog(Path(sys.argv[1]))
for number in range(100):
    log.add(sys.argv[2], "command", "opened", "riders", riders=(f"R{number}", "R" * 300))
"""


def told(log: AccessLog) -> list[tuple[str, str, str]]:
    return [(entry.who, entry.did, entry.what) for entry in log.entries()]


def test_an_entry_is_one_line_of_its_owner_s_alone(log: AccessLog) -> None:
    log.add("olga", "dashboard", "opened", "riders", riders=("R1", 'R\u00e9 "2"\n'))
    log.add("olga", "dashboard", "signed out")
    assert stat.S_IMODE(log.file.stat().st_mode) == 0o600
    lines = log.file.read_text(encoding="utf-8").splitlines()
    assert len(lines) == 2
    assert json.loads(lines[0]) == {
        "at": "2026-03-02T08:00:00Z",
        "who": "olga",
        "by": "dashboard",
        "did": "opened",
        "what": "riders",
        "riders": ["R1", 'R\u00e9 "2"\n'],
    }
    assert list(log.entries())[1] == Entry("2026-03-02T08:00:00Z", "olga", "dashboard", "signed out")


def test_processes_that_write_at_once_leave_whole_lines(log: AccessLog, tmp_path: Path) -> None:
    path = str(tmp_path / "w.duckdb")
    many = [subprocess.Popen([sys.executable, "-c", WRITE_MANY, path, f"user{number}"]) for number in range(3)]
    assert [one.wait() for one in many] == [0, 0, 0]
    state = log.state()
    assert (state.n_entries, state.n_unreadable) == (300, 0)


def test_a_torn_line_spoils_no_other(log: AccessLog) -> None:
    log.add("olga", "dashboard", "signed in")
    with log.file.open("ab") as file:
        file.write(b'{"at": "2026-03-0')
    log.add("olga", "dashboard", "signed out")
    assert [entry.did for entry in log.entries()] == ["signed in", "signed out"]
    assert log.state().n_unreadable == 1


def test_a_line_that_the_disk_takes_in_part_is_taken_back(log: AccessLog) -> None:
    log.add("olga", "dashboard", "signed in")
    before = log.file.read_bytes()
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (len(before) + 20, hard))
    try:
        with pytest.raises(AccessLogError, match="cannot be written"):
            log.add("olga", "dashboard", "downloaded", "riders")
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    assert log.file.read_bytes() == before


def test_what_is_too_old_goes_with_the_first_entry_of_a_day(log: AccessLog, clock: Clock) -> None:
    for day in range(40):
        clock.now = START + timedelta(days=day)
        log.add("olga", "dashboard", "signed in", str(day))
    # The first of a day takes out what was too old a day ago.
    assert [entry.what for entry in log.entries()] == [str(day) for day in range(8, 40)]
    inode = log.file.stat().st_ino
    log.add("olga", "dashboard", "signed out")
    assert log.file.stat().st_ino == inode  # rewritten once a day, not with each entry
    clock.now = START + timedelta(days=60)
    assert log.drop_old() == 22
    assert log.drop_old() == 0
    assert stat.S_IMODE(log.file.stat().st_mode) == 0o600


def test_a_forgotten_rider_leaves_the_log_in_one_step(log: AccessLog, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "w.duckdb"
    log.add("olga", "dashboard", "opened", "riders", riders=("R7", "R70"))
    log.add("olga", "command", "opened", "history of fit_sessions", sessions=("s-7",))
    log.add("hanna", "dashboard", "opened", "riders", riders=("R70",))
    with log.file.open("ab") as file:
        file.write(b'{"at": "2026-03-02", "riders": ["r7\n')
    lines = log.file.read_bytes().splitlines()
    speller = Speller(("r7", "S-7"), ("R70",))
    forget_in_log(path, speller)
    found = list(log.entries())
    assert [entry.riders for entry in found] == [("[forgotten]", "R70"), (), ("R70",)]
    assert found[1].sessions == ("[forgotten]",)
    assert log.file.read_bytes().splitlines()[2] == lines[2]
    assert len(log.file.read_bytes().splitlines()) == 3  # the torn line that named the rider went whole
    before = log.file.read_bytes()
    forget_in_log(path, speller)
    forget_in_log(tmp_path / "other.duckdb", speller)
    assert log.file.read_bytes() == before

    def full(*_: Any) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(access_log, "write_in_place", full)
    with pytest.raises(AccessLogError, match="No space left on device"):
        forget_in_log(path, Speller(["R70"]))
    assert log.file.read_bytes() == before


def test_signing_in_and_out_is_noted_and_nothing_that_was_typed(house: DoorHouse) -> None:
    typed = "my password in the wrong box"
    client = house.client()
    sign_in(client, typed, "something")
    sign_in(client, "OLGA", "wrong words again")
    sign_in(client, "Olga")
    client.post("/logout")
    found = told(house.log)
    assert found == [
        (UNKNOWN, "failed to sign in", ""),
        ("olga", "failed to sign in", ""),
        ("olga", "signed in", ""),
        ("olga", "signed out", ""),
    ]
    text = house.log.file.read_text(encoding="utf-8")
    for word in (typed, "something", "wrong words again", PASSWORD):
        assert word not in text


def test_every_file_that_leaves_is_noted_and_what_names_riders_without_being_one(house: DoorHouse) -> None:
    def answer(kind: str) -> Response:
        house.door.notes.opened("riders", ("R7", "R8"))
        house.door.notes.opened("riders", ("R8",))
        return download("riders") if kind == "file" else Response("R7, R8")

    house.server.add_url_rule("/<kind>/<token>", "answer", lambda kind, token: answer(kind))
    client = house.client("olga")
    client.get("/file/a-secret-word?rows=fits")
    client.get("/words/a-secret-word")
    client.get("/download/studio.csv?from=2026-01-01")
    assert [(entry.who, entry.did, entry.what, entry.riders) for entry in house.entries()[1:]] == [
        ("olga", "downloaded", "…/… fits", ("R7", "R8")),
        ("olga", "opened", "riders", ("R7", "R8")),
        ("olga", "opened", "riders", ("R8",)),
        ("olga", "downloaded", "download/studio.csv", ()),
    ]


def refused(*_: Any, **__: Any) -> None:
    raise AccessLogError("the log of access cannot be written (No space left on device).")


def test_nothing_of_a_rider_leaves_without_a_note(house: DoorHouse, monkeypatch: pytest.MonkeyPatch) -> None:
    client = house.client("olga")
    monkeypatch.setattr(house.log, "add", refused)
    response = client.get("/download/riders.csv?rider=R7", headers=PAGE)
    assert response.status_code == 503
    assert "a,b" not in response.get_data(as_text=True)
    assert "only with a note of who opened them" in words_of(response)
    assert is_in(client)  # what holds no rider is shown all the same
    late = sign_in(house.client(), "olga")
    assert late.status_code == 503
    assert not [cookie for cookie in cookies_of(late) if cookie.startswith("fitledger=")]
    assert sign_in(house.client(), "olga", "wrong words again").status_code == 401


class Looks:
    """Notes of looks as a page's questions take them."""

    def __init__(self, house: DoorHouse, reader: Reader, *, is_needed: bool) -> None:
        self.now = 0.0
        self.notes = ReaderNotes(house.log, lambda: reader, is_needed=is_needed, clock=lambda: self.now)
        self.server = house.server

    def open(self, what: str, *riders: str) -> None:
        with self.server.test_request_context("/_dash-update-component", method="POST"):
            self.notes.opened(what, riders)


@pytest.fixture
def looks(house: DoorHouse) -> Looks:
    return Looks(house, Reader("hanna", Role.HEAD_FITTER), is_needed=True)


def test_a_look_that_is_asked_for_again_is_noted_once(house: DoorHouse, looks: Looks) -> None:
    for _ in range(3):
        looks.open("riders", "R7")
    looks.open("riders", "R8")
    looks.now += LOOK_SECONDS
    looks.open("riders", "R7")
    assert [(entry.who, entry.did, entry.riders) for entry in house.entries()] == [
        ("hanna", "opened", (rider,)) for rider in ("R7", "R8", "R7")
    ]


def test_a_look_without_a_note_is_refused_to_who_signed_in_and_not_at_the_machine_itself(
    house: DoorHouse, looks: Looks, monkeypatch: pytest.MonkeyPatch
) -> None:
    local = Looks(house, LOCAL, is_needed=False)
    local.open("riders", "R7")
    assert [entry.who for entry in house.entries()] == [THIS_MACHINE]
    monkeypatch.setattr(house.log, "add", refused)
    local.open("riders", "R8")
    for _ in range(2):  # and is not taken for noted the second time
        with pytest.raises(AccessLogError, match="only with a note"):
            looks.open("riders", "R7")
    looks.notes.done("loaded", "load 3")  # done already


@pytest.fixture
def written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A warehouse whose log holds three entries of the last days."""
    monkeypatch.chdir(tmp_path)
    path, clock = tmp_path / "w.duckdb", Clock()
    log = AccessLog(path, clock=clock)
    for days, who, riders in ((3, "olga", ("R7",)), (1, "hanna", ("=R8",)), (0, "olga", ())):
        clock.now = NOW - timedelta(days=days)
        log.add(who, "dashboard", "opened", "riders", riders=riders)
    return path


def run(*words: str | Path) -> str:
    done = CliRunner().invoke(app, [*map(str, words)])
    assert done.exit_code == 0, done.output
    return done.output


def test_the_owner_reads_it_by_time_name_and_rider(written: Path) -> None:
    def names(*words: str) -> list[str]:
        return [entry["who"] for entry in json.loads(run("access", "--warehouse", written, "--json", *words))["entries"]]

    day = (NOW - timedelta(days=1)).date().isoformat()
    assert names() == ["olga", "hanna", "olga"]
    assert names("--from", day) == ["hanna", "olga"]
    assert names("--to", day) == ["olga", "hanna"]
    assert names("--who", "hanna") == ["hanna"]
    assert names("--rider", "r7") == ["olga"]
    assert "3 entries." in run("access", "--warehouse", written)
    sheet = run("access", "--warehouse", written, "--csv").splitlines()
    assert sheet[0] == "at,who,by,did,what,riders,sessions"
    assert sheet[2].endswith("hanna,dashboard,opened,riders,'=R8,")
    assert CliRunner().invoke(app, ["access", "--from", "last week"]).exit_code != 0


def test_reading_it_takes_out_what_is_too_old(written: Path) -> None:
    Path("fitledger.toml").write_text("[access]\nkept_days = 2\n", encoding="utf-8")
    assert "2 entries." in run("access", "--warehouse", written)


def test_changes_of_accounts_by_command_are_noted_under_the_system_s_user(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module.getpass, "getuser", lambda: "sys\udcffadmin")
    path = tmp_path / "w.duckdb"
    words = ["user", "add", "ada", "--role", "owner", "--password-stdin", "--warehouse", str(path)]
    assert CliRunner().invoke(app, words, input=f"{PASSWORD}\n").exit_code == 0
    for command in (["role", "ada", "head_fitter"], ["sign-out", "ada"], ["remove", "ada"]):
        run("user", *command, "--warehouse", path)
    assert told(AccessLog(path)) == [
        ("sys?admin", did, "ada") for did in ("added an account", "changed the role of", "signed out", "removed an account")
    ]
    assert PASSWORD not in AccessLog(path).file.read_text(encoding="utf-8")


def test_a_command_goes_on_without_a_note_and_says_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(AccessLog, "add", refused)
    done = CliRunner().invoke(
        app,
        ["user", "add", "ada", "--role", "owner", "--password-stdin", "--warehouse", str(tmp_path / "w.duckdb")],
        input=f"{PASSWORD}\n",
    )
    assert done.exit_code == 0
    assert "Not noted in the log of access" in done.output

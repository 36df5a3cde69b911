"""A killed program leaves copies of the warehouse: whatever starts next removes them, and no byte names who was forgotten."""

import random
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest
from typer.testing import CliRunner

from dashboard.cli import app
from etl.keeping.backup import back_up
from etl.keeping.forget import forget
from etl.load import load
from shared.working import PLACE
from tests.robust.loads import COMMAND, exports, first_step

RIDER = "RVICTIM77"

# An upload that is checked, and a forgetting and an account write that are held up where a copy lies in the folder.
UPLOAD = """
import sys, io; from pathlib import Path
from dashboard.web.uploads import Uploads; from shared.settings import Settings
uploads = Uploads(Path(sys.argv[1]), Settings())
token = uploads.receive([(file.name, file.open("rb")) for file in sorted(Path(sys.argv[2]).iterdir())])
tell = lambda done, total, words: print("reading", file=sys.stderr, flush=True)
import dashboard.web.uploads as module; module.Upload.tell = lambda self, *words: tell(*words)
uploads.check(token)
"""
HELD_UP = """
import sys, time; from pathlib import Path
import shared.files, shared.warehouse, etl.keeping.forget, etl.keeping.backup, dashboard.export.package
def stop(*_):
    print("reading", file=sys.stderr, flush=True); time.sleep(600)
module, name = sys.argv[1].rsplit(".", 1)
setattr(sys.modules[module], name, stop)
from dashboard.cli import main
sys.argv = ["fitledger", *sys.argv[2:]]
main()
"""


@pytest.fixture(scope="module")
def loaded(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A warehouse with the rider in it, and exports of the same riders with other figures, so that they must be read."""
    place = tmp_path_factory.mktemp("left")
    folder = exports(place / "x", seed=1)
    for name in ("riders", "fit_sessions"):
        file = folder / f"{name}.csv"
        file.write_text(file.read_text(encoding="utf-8").replace("R5,", f"{RIDER},"), encoding="utf-8")
    (place / "w").mkdir()
    load([folder], place / "w" / "w.duckdb")
    for file in exports(place / "new", seed=2).iterdir():
        if file.stem in {"knee_captures", "foot_setups"}:
            file.replace(folder / file.name)
    return place


@pytest.fixture
def path(loaded: Path, tmp_path: Path) -> Path:
    shutil.copytree(loaded, tmp_path, dirs_exist_ok=True)
    return tmp_path / "w" / "w.duckdb"


def begun(script: str, *words: str | Path, temporary: Path) -> subprocess.Popen[str]:
    temporary.mkdir(exist_ok=True)
    process = subprocess.Popen(
        [sys.executable, "-c", script, *map(str, words)],
        stdin=subprocess.PIPE, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True, env={"TMPDIR": str(temporary)},
    )  # fmt: skip
    if "--password-stdin" in words:
        assert process.stdin
        process.stdin.write("a long password of somebody\n")
        process.stdin.close()
    return process


def killed(process: subprocess.Popen[str], number: signal.Signals, seconds: float) -> None:
    first_step(process)
    time.sleep(seconds)
    process.send_signal(number)
    process.wait()
    assert process.stderr
    process.stderr.close()
    if process.stdin:
        process.stdin.close()


def spelling(*folders: Path) -> list[Path]:
    """Every file below the folders, but the exports themselves, whose bytes spell the id."""
    return [file for folder in folders for file in folder.rglob("*") if file.is_file() and RIDER.encode() in file.read_bytes()]


def check(path: Path, new: Path) -> tuple[str, list[str | Path]]:
    return COMMAND, ["check", new, "--warehouse", path]


def upload(path: Path, new: Path) -> tuple[str, list[str | Path]]:
    return UPLOAD, [path, new]


def backup(path: Path, new: Path) -> tuple[str, list[str | Path]]:
    return HELD_UP, ["etl.keeping.backup.put_new_in_place", "backup", f"{path.parent / 'copies'}/", "--warehouse", path]


def forgetting(path: Path, new: Path) -> tuple[str, list[str | Path]]:
    return HELD_UP, ["shared.files.put_in_place", "forget", RIDER, "--yes", "--warehouse", path]


def export(path: Path, new: Path) -> tuple[str, list[str | Path]]:
    return HELD_UP, ["dashboard.export.package.write_marts", "export", path.parent / "copies" / "out", "--warehouse", path]


def account(path: Path, new: Path) -> tuple[str, list[str | Path]]:
    words: list[str | Path] = ["user", "add", RIDER, "--role", "owner", "--password-stdin", "--warehouse", path]
    return HELD_UP, ["shared.files.put_in_place", *words]


@pytest.mark.parametrize("work", [check, upload, backup, forgetting, account, export])
def test_what_a_kill_leaves_goes_with_the_next_start(
    path: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, work: Callable[[Path, Path], tuple[str, list[str | Path]]]
) -> None:
    temporary = tmp_path / "temporary"
    monkeypatch.setattr("tempfile.tempdir", str(temporary))
    script, words = work(path, tmp_path / "x")
    chance = random.Random(20261130)
    killed(begun(script, *words, temporary=temporary), signal.SIGKILL, chance.uniform(0, 0.3))
    places = [path.parent / PLACE, path.parent / "copies" / PLACE]
    assert [folder for place in places if place.is_dir() for folder in place.iterdir()], "nothing lay there to be cleared"
    told = CliRunner().invoke(app, ["doctor", "--warehouse", str(path)])
    assert "was left by a program that was killed" in told.output and "All is well" not in told.output
    assert CliRunner().invoke(app, ["history", "riders", "R7", "--warehouse", str(path)]).exit_code == 0
    assert not any(place.exists() for place in places) and list(temporary.iterdir()) == []
    if work is check:  # a polite signal leaves nothing in the first place
        killed(begun(script, *words, temporary=temporary), signal.SIGTERM, chance.uniform(0, 0.3))
        assert not any(place.exists() for place in places) and list(temporary.iterdir()) == []
    assert forget(path, RIDER).is_complete
    assert spelling(path.parent, temporary) == []


def test_a_folder_that_takes_no_file_is_worked_for_among_the_temporary_files(
    path: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    temporary = tmp_path / "temporary"
    temporary.mkdir()
    monkeypatch.setattr("tempfile.tempdir", str(temporary))
    # Stands where the place would be made: as good as a folder that may only be read, also for root.
    (path.parent / PLACE).write_text("no folder", encoding="utf-8")
    script, words = check(path, tmp_path / "x")
    killed(begun(script, *words, temporary=temporary), signal.SIGKILL, 0.0)
    (place,) = temporary.iterdir()
    assert place.stat().st_mode & 0o777 == 0o700 and spelling(temporary) != []
    assert str(place) in CliRunner().invoke(app, ["doctor", "--warehouse", str(path)]).output
    CliRunner().invoke(app, ["history", "riders", "R7", "--warehouse", str(path)])
    assert list(temporary.iterdir()) == []
    back_up_beside = CliRunner().invoke(app, ["check", str(tmp_path / "x"), "--warehouse", str(path)])
    assert back_up_beside.exit_code == 3, back_up_beside.output


def test_a_work_of_others_is_left_and_told_to_who_forgets(path: Path, tmp_path: Path) -> None:
    back_up(path, tmp_path / "w" / "one.backup")
    script, words = check(path, tmp_path / "x")
    process = begun(script, *words, temporary=tmp_path / "temporary")
    first_step(process)
    process.send_signal(signal.SIGSTOP)
    done = forget(path, RIDER)
    assert len(done.at_work) == 1 and not done.is_complete
    assert all(place.holds for place in done.places)
    killed_now = process.send_signal
    killed_now(signal.SIGKILL)
    process.wait()
    assert process.stderr and process.stdin
    process.stderr.close()
    process.stdin.close()
    assert forget(path, RIDER).is_complete and spelling(path.parent) == []

"""The command as a user runs it: output, exit codes, nothing written where nothing should be."""

import csv
import io
import json
import signal
import subprocess
import sys
from pathlib import Path
from typing import Protocol

import pytest

from dashboard.cli import main

COMMAND = [str(Path(sys.executable).with_name("fitledger"))]
Done = subprocess.CompletedProcess[str]


class Run(Protocol):
    def __call__(self, folder: Path, *words: str) -> Done: ...


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]) -> Run:
    """Runs the command's entry point in this process; starting Python anew takes longer than most commands."""

    def run_here(folder: Path, *words: str) -> Done:
        monkeypatch.chdir(folder)
        monkeypatch.setattr(sys, "argv", ["fitledger", *words])
        ended = signal.getsignal(signal.SIGTERM)
        capfd.readouterr()
        try:
            main()
        except SystemExit as end:
            code = end.code
        finally:
            signal.signal(signal.SIGTERM, ended)
        said = capfd.readouterr()
        assert isinstance(code, int | None)
        return Done(words, code or 0, said.out, said.err)

    return run_here


def run_apart(folder: Path, *words: str) -> Done:
    """Runs the installed command in a process of its own."""
    return subprocess.run([*COMMAND, *words], cwd=folder, capture_output=True, text=True, timeout=120, check=False)


def exports(folder: Path, riders: str = "rider_id,birth_year\nR1,1980\nR2,1850\n") -> Path:
    folder.mkdir(exist_ok=True)
    (folder / "riders.csv").write_text(riders, encoding="utf-8")
    return folder


def test_load_prints_counts_that_add_up_and_exits_3_where_rows_are_rejected(tmp_path: Path) -> None:
    done = run_apart(tmp_path, "load", str(exports(tmp_path / "x")))
    assert done.returncode == 3
    assert (
        "riders.csv → riders: 2 read = 2 stored + 0 replaced + 0 unchanged + 0 rejected + 0 waiting; 1 faulty cell"
        in done.stdout
    )
    assert "riders.csv, line 3: birth_year: found 1850, expected a whole number from 1920 to" in done.stdout
    assert "reading riders.csv" in done.stderr
    assert (tmp_path / "fitledger.duckdb").exists()


def test_load_json_has_the_published_keys(run: Run, tmp_path: Path) -> None:
    done = run(tmp_path, "load", str(exports(tmp_path / "x")), "--json")
    told = json.loads(done.stdout)
    assert {"load_id", "files", "findings"} <= set(told)
    assert {"file", "table", "read", "stored", "replaced", "unchanged", "rejected", "waiting", "refused", "words"} <= set(
        told["files"][0]
    )
    assert {"file", "line", "column", "rule", "value", "words"} <= set(told["findings"][0])


def test_check_writes_nothing(run: Run, tmp_path: Path) -> None:
    done = run(tmp_path, "check", str(exports(tmp_path / "x")), "--json")
    assert done.returncode == 3
    assert json.loads(done.stdout)["load_id"] is None
    assert sorted(path.name for path in tmp_path.iterdir()) == ["x"]


def test_rejects_lists_the_rows_whole(run: Run, tmp_path: Path) -> None:
    run(tmp_path, "load", str(exports(tmp_path / "x")))
    rows = list(csv.DictReader(io.StringIO(run(tmp_path, "rejects", "--csv").stdout)))
    assert [(row["file"], row["line"], row["column"], row["rule"], row["value"]) for row in rows] == [
        ("riders.csv", "3", "birth_year", "range", "1850")
    ]
    assert json.loads(rows[0]["received"]) == {"rider_id": "R2", "birth_year": "1850"}


@pytest.mark.parametrize(
    ("words", "code", "told"),
    [
        (("load", "nowhere"), 2, "nowhere: no such file or folder"),
        (("load", "empty"), 4, "no file of exports was found"),
        (("load", "bad"), 4, "the required column rider_id of table riders is missing"),
        (("show", "effects"), 5, "there is no warehouse here"),
        (("show", "effects", "--warehouse", "x/riders.csv"), 5, "is no fitledger warehouse"),
        (("show", "weather", "--warehouse", "x/riders.csv"), 2, "'weather' is no question"),
        (("show", "effects", "--side", "middle"), 2, "expected one of left, right"),
        (("nonsense",), 2, "No such command"),
    ],
)
def test_bad_input_gets_a_sentence_and_its_exit_code(
    run: Run, tmp_path: Path, words: tuple[str, ...], code: int, told: str
) -> None:
    exports(tmp_path / "x")
    (tmp_path / "empty").mkdir()
    exports(tmp_path / "bad", "name\nAnn\n")
    before = sorted(path.name for path in tmp_path.iterdir())
    done = run(tmp_path, *words)
    assert (done.returncode, told in done.stderr) == (code, True), done.stderr
    assert "Traceback" not in done.stderr
    left = sorted(path.name for path in tmp_path.iterdir() if path.suffix != ".lock")
    assert left == before


def test_a_fault_of_the_program_goes_to_the_log(tmp_path: Path) -> None:
    script = "import etl.load\netl.load.load = lambda *a, **k: 1 / 0\nfrom dashboard.cli import main\nmain()"
    command = [sys.executable, "-c", script, "load", str(exports(tmp_path / "x"))]
    done = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, timeout=120, check=False)
    assert done.returncode == 1
    assert "something went wrong inside the program" in done.stderr and "Traceback" not in done.stderr
    assert "ZeroDivisionError" in (tmp_path / "fitledger.log").read_text(encoding="utf-8")


def test_show_prints_the_same_object_three_times(run: Run, tmp_path: Path, demo_warehouse: Path) -> None:
    words = ("show", "studio", "--warehouse", str(demo_warehouse), "--studio", "ropewalk", "--from", "2026-01-01")
    told = json.loads(run(tmp_path, *words, "--json").stdout)
    assert told["selection"] == {"from": "2026-01-01", "studio": ["ropewalk"]}
    rows = list(csv.DictReader(io.StringIO(run(tmp_path, *words, "--csv").stdout)))
    assert [float(row["estimate"]) for row in rows] == [row["estimate"] for row in told["figures"]]
    printed = run(tmp_path, *words).stdout
    assert all(row["words"] in printed for row in told["figures"])


def test_trends_are_shown_by_quarter_and_no_other_question_is(run: Run, tmp_path: Path, demo_warehouse: Path) -> None:
    where = ("--warehouse", str(demo_warehouse))
    told = json.loads(run(tmp_path, "show", "trends", *where, "--every", "quarter", "--json").stdout)
    assert told["every"] == "quarter"
    assert {row["period"][5:] for row in told["trend"]} == {"01-01", "04-01", "07-01", "10-01"}
    refused = run(tmp_path, "show", "studio", *where, "--every", "quarter")
    assert (refused.returncode, "studio is not told by period" in refused.stderr) == (2, True)


def test_show_effects_has_the_published_keys(run: Run, tmp_path: Path, demo_warehouse: Path) -> None:
    told = json.loads(run(tmp_path, "show", "effects", "--warehouse", str(demo_warehouse), "--json").stdout)
    assert {"as_of", "selection", "method", "effects"} <= set(told)
    keys = (
        "outcome support unit split level n_riders n_changes pooled pooled_low pooled_high within within_low within_high "
        "bracket_low bracket_high q_value words told_low told_high told_by"
    )
    assert all(set(keys.split()) <= set(row) for row in told["effects"])
    assert {row["outcome"] for row in told["effects"]} >= {"tilt", "sway", "offset"}
    assert {row["support"] for row in told["effects"]} == {
        "insole_low",
        "insole_medium",
        "insole_high",
        "insole_custom",
        "shim",
        "stance",
    }

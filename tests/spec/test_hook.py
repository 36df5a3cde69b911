"""A studio's own step between its files and the mapping: what it is given, what becomes of its tables, and what it may not."""

import inspect
from pathlib import Path

import pytest
from typer.testing import CliRunner

from dashboard.cli import app
from dashboard.web import uploads
from etl.keeping import watch
from etl.load import check_files, load
from etl.mapping import Mapping
from etl.mend_files import to_mend
from shared.errors import HookError
from shared.warehouse import open_reading
from tests.spec.test_mapping_other_rows import TODAY, mend, rows, standing, write
from tests.spec.workbook import sheet_xml, write_workbook

MAPPING = """
[form]
decimal = ","
[tables.knee_captures]
files = "long.csv"
[tables.knee_captures.columns]
session_id = "visit"
capture_no = "no"
side = "side"
knee_tilt_deg = { from = "tilt", unit = "deg", flip = "left" }
"""
HOOK = """
import pandas as pd


def tables(tables):
    wide = tables.pop("wide.csv")
    parts = wide["tilts"].str.split("/", expand=True)
    sides = [wide[["visit", "no"]].assign(side=side, tilt=parts[n]) for n, side in enumerate(("left", "right"))]
    tables["long.csv"] = pd.concat(sides)
    return tables
"""
WIDE = "visit | no | tilts\nS1 | 1 | 2,5/-3\nS1 | 2 | 2°/-2\n"


def hook(folder: Path, text: str = HOOK) -> Path:
    path = folder / "own.py"
    path.write_text(text, encoding="utf-8")
    return path


def test_what_a_hook_returns_is_loaded_by_the_mapping_told_and_mended_without_it(tmp_path: Path) -> None:
    folder, path = write(tmp_path / "x", MAPPING, wide=WIDE, riders="rider_id\nR1\n"), tmp_path / "w.duckdb"
    report = load([folder], path, today=TODAY, hook=hook(tmp_path))
    tilts = "SELECT capture_no, side, knee_tilt_deg FROM raw.knee_captures WHERE superseded_by IS NULL ORDER BY ALL"
    assert rows(path, tilts) == [(1, "left", -2.5), (1, "right", -3.0), (2, "right", -2.0)]
    told = {file.file: file.words for file in report.files}
    (detected,) = rows(path, "SELECT detected FROM raw.files WHERE file = 'long.csv'")[0]
    assert "; hook: own.py (" in told["long.csv"]
    assert detected in told["long.csv"]
    assert told["wide.csv"].startswith("wide.csv: left out by the hook: own.py (")
    # A table that it returns as it was is read as it is.
    assert "hook" not in told["riders.csv"]
    assert [(f.file, f.line, f.value) for f in report.findings] == [("long.csv", 3, "2°")]
    mend(path, tmp_path / "mend", "knee_captures", **{"2°": "2"})
    assert rows(path, tilts)[2] == (2, "left", -2.0)
    assert standing(path) == 0


def test_another_hook_is_another_load_and_the_same_one_is_known(tmp_path: Path) -> None:
    folder, path = write(tmp_path / "x", MAPPING, wide=WIDE.replace("°", "")), tmp_path / "w.duckdb"
    own = hook(tmp_path)
    checked = check_files([folder], path, today=TODAY, hook=own)
    report = load([folder], path, today=TODAY, hook=own)
    assert (report.load_id, report.files) == (1, checked.files)
    assert load([folder], path, today=TODAY, hook=own).load_id is None
    another = load([folder], path, today=TODAY, hook=hook(tmp_path, HOOK + "\n# another\n"))
    assert another.files[0].read == 4
    assert another.files[0].words != report.files[0].words  # the digest


def test_numbers_of_a_sheet_stay_numbers_beside_decimal_commas(tmp_path: Path) -> None:
    folder = write(tmp_path / "x", MAPPING.replace('files = "long.csv"', 'sheets = "k"'))
    cells = [["visit", "no", "side", "tilt"], ["S1", "1", "left", "2.5"]]
    write_workbook(folder / "k.xlsx", {"k": sheet_xml(cells)})
    text = "def tables(tables):\n    return {name: table.assign(no='2') for name, table in tables.items()}\n"
    path = tmp_path / "w.duckdb"
    load([folder], path, today=TODAY, hook=hook(tmp_path, text))
    assert rows(path, "SELECT capture_no, knee_tilt_deg FROM raw.knee_captures") == [(2, -2.5)]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("def tables(tables):\n    return tables['none']\n", "own.py, line 2: stopped with KeyError"),
        ("def tables(tables:\n", "own.py, line 1: stopped with SyntaxError"),
        ("other = 1\n", "own.py: has no function tables"),
        ("def tables(tables):\n    return {'riders.csv': 3}\n", "own.py: stopped with TypeError"),
        (
            "def tables(tables):\n    open('OUT', 'w').write('x')\n",
            r"own.py, line 2: a hook may read .* \(it tried to: write a file\)",
        ),
        ("import os\ndef tables(tables):\n    os.remove('OUT')\n", r"line 3: a hook may .* \(it tried to: os.remove\)"),
        ("import subprocess\ndef tables(tables):\n    subprocess.run(['touch', 'OUT'])\n", "subprocess.Popen"),
        (
            "import socket\ndef tables(tables):\n    socket.create_connection(('127.0.0.1', 9))\n",
            r"it tried to: socket\.(getaddrinfo|connect)",
        ),
        ("import os\ndef tables(tables):\n    os._exit(3)\n", "ended without an answer"),
    ],
)
def test_a_hook_that_fails_or_does_more_than_it_may_is_told_in_a_sentence(tmp_path: Path, text: str, words: str) -> None:
    folder, path, out = write(tmp_path / "x", riders="rider_id\nR1\n"), tmp_path / "w.duckdb", tmp_path / "out.txt"
    out.write_text("kept", encoding="utf-8")
    with pytest.raises(HookError, match=words) as raised:
        load([folder], path, today=TODAY, hook=hook(tmp_path, text.replace("OUT", str(out))))
    assert out.read_text(encoding="utf-8") == "kept"
    assert not path.exists()
    assert "Traceback" not in str(raised.value)


def test_no_key_of_this_machine_is_told_to_a_hook(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("FITLEDGER_SECRET", "hush")
    text = "import os\ndef tables(tables):\n    assert 'FITLEDGER_SECRET' not in os.environ\n    return tables\n"
    report = load(
        [write(tmp_path / "x", riders="rider_id\nR1\n")], tmp_path / "w.duckdb", today=TODAY, hook=hook(tmp_path, text)
    )
    assert report.files[0].stored == 1


def test_the_command_takes_a_hook_and_its_traceback_goes_to_the_log(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    folder = write(tmp_path / "x", MAPPING, wide=WIDE)
    for command in ("check", "load"):
        arguments = [command, str(folder), "--hook", str(hook(tmp_path)), "--warehouse", "w.duckdb"]
        done = CliRunner().invoke(app, arguments)
        assert "hook: own.py (" in done.output
    with pytest.raises(HookError) as raised:
        load(
            [folder],
            tmp_path / "v.duckdb",
            today=TODAY,
            hook=hook(tmp_path, "def tables(tables):\n    raise ValueError('R1')\n"),
        )
    assert "own.py" in raised.value.trace
    assert raised.value.trace.endswith("ValueError")  # without the message, which may name a rider


def test_a_hook_is_named_by_the_machine_alone() -> None:
    """Neither a mapping nor an upload nor a watched folder can name one."""
    assert "hook" not in Mapping.model_fields
    for module in (uploads, watch):
        assert "hook" not in inspect.getsource(module)


def test_rows_of_a_hook_are_to_mend_in_its_own_columns(tmp_path: Path) -> None:
    folder, path = write(tmp_path / "x", MAPPING, wide=WIDE), tmp_path / "w.duckdb"
    load([folder], path, today=TODAY, hook=hook(tmp_path))
    warehouse = open_reading(path)
    (file,) = to_mend(warehouse).files
    warehouse.close()
    assert file.headings[:4] == ("visit", "no", "side", "tilt")
    assert file.rows[0][:4] == ["S1", "2", "left", "2°"]

"""Names of files that are patterns elsewhere: each file is read once, and nothing else by it."""

import json
from pathlib import Path
from tempfile import TemporaryDirectory

from typer.testing import CliRunner

from dashboard.cli import app
from shared.warehouse import open_reading
from tests.attack.rows import Row, row

# What a pattern would find stands beside what it is called; both are to be read once.
NAMES = {
    "riders-[2].csv": "riders-2.csv",
    "riders-*.csv": "riders-2026.csv",
    "riders-?.csv": "riders-7.csv",
    "riders-{a,b}.csv": "riders-a.csv",
    "riders-**.csv": "riders-deep.csv",
    "riders-[!x].csv": "riders-y.csv",
    "riders-[0-9].csv": "riders-4.csv",
    "riders-'.csv": "riders-''.csv",
    'riders-".csv': "riders-q.csv",
    "riders-%20.csv": "riders- .csv",
    "riders-\n.csv": "riders-n.csv",
    "riders-Größe.csv": "riders-Grosse.csv",
    "riders-足.csv": "riders-foot.csv",
    "riders-$HOME.csv": "riders-home.csv",
    "riders-;DROP.csv": "riders-DROP.csv",
    "riders-\\d.csv": "riders-d.csv",
}


def rows(most: int | None = None) -> list[Row]:
    """The first `most` of the names, or all."""
    found: list[str] = []
    names = dict(list(NAMES.items())[:most])
    with TemporaryDirectory() as folder:
        for n, (name, neighbour) in enumerate(names.items()):
            for alone in (False, True):
                found += _failures(Path(folder) / f"{n}{alone}", name, neighbour, alone=alone)
    tried = f"{2 * len(names)} loads: the folder, and the file by its name"
    return [row("names of files as patterns", tried, found, "each file read once, and no other")]


def _failures(folder: Path, name: str, neighbour: str, *, alone: bool) -> list[str]:
    """Loads the folder, or the one file by its name; what was read otherwise than once."""
    folder.mkdir()
    files = folder / "x"
    files.mkdir()
    for file, rider in ((name, "ROWN"), (neighbour, "RNEXT")):
        (files / file).write_text(f"rider_id,riding\n{rider},road\n", encoding="utf-8")
    warehouse = folder / "w.duckdb"
    words = ["load", str(files / name if alone else files), "--warehouse", str(warehouse), "--json"]
    done = CliRunner().invoke(app, words)
    expected = {"ROWN"} if alone else {"ROWN", "RNEXT"}
    shown = repr(name)
    if done.exit_code or not warehouse.exists():
        return [f"{shown}: exit code {done.exit_code}"]
    opened = open_reading(warehouse)
    held = [one["rider_id"] for one in opened.rows("SELECT rider_id FROM core.riders")]
    opened.close()
    failures = [] if set(held) == expected else [f"{shown}{' alone' if alone else ''}: {', '.join(sorted(held))} read"]
    n_read = sum(one.get("read", 0) for one in json.loads(done.stdout).get("files", []))
    if n_read not in (0, len(expected)):
        failures.append(f"{shown}: {n_read} rows read of {len(expected)}")
    return failures

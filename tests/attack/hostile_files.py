"""Files made to exhaust a machine, each handed to `fitledger check` in a process of its own, bounded in memory and time.

`python -m tests.attack.hostile_files` prints a table: what a file does, how it ended, seconds and peak memory. `rows()` gives
the same as a list. A file is met where it ends in a sentence (exit code 0, 3, 4 or 2) within the bounds.
"""

import gzip
import json
import os
import subprocess
import sys
import tempfile
import time
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import typer

ROOT = Path(__file__).parents[2]
MEMORY_BYTES = 4 << 30  # of address space: the imports and DuckDB's threads reserve more than they use
PEAK_MB = 1_000  # what a load of honest files may hold (shared/memory.py)
PROCESSOR_SECONDS = 60
WAIT_SECONDS = 240.0  # for what only waits, and for a busy machine
_ROW = b"rider_id,birth_year\nR1,1980\n"
_RUN = (
    "import resource, sys\n"
    f"resource.setrlimit(resource.RLIMIT_AS, ({MEMORY_BYTES}, {MEMORY_BYTES}))\n"
    f"resource.setrlimit(resource.RLIMIT_CPU, ({PROCESSOR_SECONDS}, {PROCESSOR_SECONDS}))\n"
    "from dashboard.cli import main\n"
    "main()\n"
)


def _beside(folder: Path, name: str, content: bytes) -> Path:
    """A hostile file beside an honest one."""
    (folder / "riders.csv").write_bytes(_ROW)
    (folder / name).write_bytes(content)
    return folder


def _alone(folder: Path, name: str, content: bytes) -> Path:
    (folder / name).write_bytes(content)
    return folder / name


def _zipped(folder: Path, name: str, members: dict[str, bytes]) -> Path:
    with zipfile.ZipFile(folder / name, "w", zipfile.ZIP_DEFLATED) as archive:
        for member, content in members.items():
            archive.writestr(member, content)
    return folder / name


def _parquet(folder: Path, query: str) -> Path:
    import duckdb

    path = folder / "riders.parquet"
    connection = duckdb.connect()
    connection.execute(f"COPY ({query}) TO '{path}' (FORMAT parquet, COMPRESSION zstd, ROW_GROUP_SIZE 10000000)")
    connection.close()
    return path


def _workbook(folder: Path, rows: str, **parts: str) -> Path:
    from tests.spec.workbook import write_workbook

    return write_workbook(folder / "book.xlsx", {"riders": rows}, **parts)


def _pipe(folder: Path) -> Path:
    (folder / "riders.csv").write_bytes(_ROW)
    os.mkfifo(folder / "fitledger.toml")
    return folder


def _many(folder: Path, n: int) -> Path:
    for number in range(n):
        (folder / f"riders-{number}.csv").touch()
    return folder


def _sparse(folder: Path) -> Path:
    path = _alone(folder, "riders.csv", b"rider_id\n")
    with path.open("rb+") as file:
        file.truncate(1 << 40)
    return path


def _pattern(folder: Path) -> Path:
    for name, rider in (("riders-[2].csv", "R1"), ("riders-2.csv", "R2"), ("riders-*.csv", "R3")):
        (folder / name).write_text(f"rider_id\n{rider}\n", encoding="utf-8")
    return folder


_TEXTS = f"<sst><si><t>rider_id</t></si><si><t>{'x' * 30_000}</t></si></sst>"
PATTERNS = "names that are patterns"
ATTACKS: dict[str, Callable[[Path], Path]] = {
    "mapping of 200,000 dots (400 kB)": lambda f: _beside(f, "mapping.toml", b"a" + b".a" * 200_000 + b"=1"),
    "mapping of 8,000 dots (16 kB)": lambda f: _beside(f, "mapping.toml", b"a" + b".a" * 8_000 + b"=1"),
    "mapping of 40 keys of 1,000 dots": lambda f: _beside(
        f, "mapping.toml", b"\n".join(b"k%d%b=1" % (n, b".a" * 1000) for n in range(40))
    ),
    "mapping of 40,000 brackets": lambda f: _beside(f, "mapping.toml", b"a=" + b"[" * 40_000),
    "mapping of 10,000 unknown keys": lambda f: _beside(f, "mapping.toml", b"\n".join(b"%d=1" % n for n in range(10_000))),
    "mapping of 8,000 dots in a zip": lambda f: _zipped(
        f, "x.zip", {"riders.csv": _ROW, "mapping.toml": b"a" + b".a" * 8_000 + b"=1"}
    ),
    "fitledger.toml of 8,000 dots": lambda f: _beside(f, "fitledger.toml", b"a" + b".a" * 8_000 + b"=1"),
    "fitledger.toml that is a pipe": _pipe,
    "JSON lines, 400,000 brackets": lambda f: _alone(f, "riders.jsonl", b"[" * 400_000),
    "JSON lines, a number of 900,000 digits": lambda f: _alone(f, "riders.jsonl", b'{"rider_id":' + b"9" * 900_000 + b"}"),
    "JSON lines, 1,000 keys once, then 1,000,000 x {}": lambda f: _alone(
        f, "riders.jsonl", json.dumps({f"c{n}": 1 for n in range(999)} | {"rider_id": 1}).encode() + b"\n" + b"{}\n" * 1_000_000
    ),
    "Parquet that claims 50,000,000 rows": lambda f: _parquet(f, "SELECT 'R1' AS rider_id FROM range(50000000)"),
    "Parquet of 19,000,000 rows in 30 kB": lambda f: _parquet(f, "SELECT 'R1' AS rider_id FROM range(19000000)"),
    "Parquet, one text of 20 kB in 50,000 rows": lambda f: _parquet(
        f, "SELECT ' ' || repeat('x', 20000) AS rider_id FROM range(50000)"
    ),
    "CSV, 1,000,000 empty rows (2 MB)": lambda f: _alone(f, "riders.csv", b"rider_id,birth_year\n" + b",\n" * 1_000_000),
    "CSV, 1,000,000 rows of three cells": lambda f: _alone(f, "riders.csv", b"rider_id,birth_year\n" + b"a,b,c\n" * 1_000_000),
    "CSV, 1,000,000 rows that contradict": lambda f: _alone(
        f, "riders.csv", b"rider_id,birth_year\n" + b"R1,1980\nR1,1981\n" * 500_000
    ),
    "CSV of a terabyte (sparse)": _sparse,
    "gzip, 1 GB of zeros in 1 MB": lambda f: _alone(f, "riders.csv.gz", gzip.compress(b"0" * (1 << 30), 6)),
    "zip of 1,001 files": lambda f: _zipped(f, "x.zip", {f"riders-{n}.csv": _ROW for n in range(1001)}),
    "zip in a zip": lambda f: _zipped(f, "x.zip", {"riders.zip": _ROW}),
    "XLSX, a text of 30 kB in 200,000 cells": lambda f: _workbook(
        f, '<row><c t="s"><v>0</v></c></row>' + '<row><c t="s"><v>1</v></c></row>' * 200_000, sharedStrings=_TEXTS
    ),
    "XLSX, styles of 12 MB": lambda f: _workbook(f, "<row/>", styles=f"<styleSheet>{'<a/>' * 3_000_000}</styleSheet>"),
    "XLSX, one cell in the last corner": lambda f: _workbook(f, '<row r="1048576"><c r="XFD1048576"><v>1</v></c></row>'),
    "folder of 20,000 files": lambda f: _many(f, 20_000),
    PATTERNS: _pattern,
}


def rows(names: list[str] | None = None) -> list[dict[str, Any]]:
    """One row a hostile file: attack, outcome, seconds, processor_seconds, peak_mb, ok."""
    told = []
    for name in names or ATTACKS:
        with tempfile.TemporaryDirectory() as folder:
            target = ATTACKS[name](Path(folder))
            row = {"attack": name, **_met(target, Path(folder))}
            # Here each of the three files is to be read, and as itself.
            row["ok"] &= name != PATTERNS or row["outcome"].count(": 1 read, 1 stored") == 3
            told.append(row)
    return told


def _met(target: Path, folder: Path) -> dict[str, Any]:
    """How `fitledger check` ends on a file or folder, from whose folder it is called."""
    at_work = target if target.is_dir() else folder
    with tempfile.TemporaryDirectory() as other, (Path(other) / "told").open("wb+") as told:
        began = time.monotonic()
        process = subprocess.Popen(
            [sys.executable, "-c", _RUN, "check", str(target), "--warehouse", f"{other}/w.duckdb", "--json"],
            cwd=at_work, stdout=told, stderr=subprocess.STDOUT, env={**os.environ, "PYTHONPATH": str(ROOT), "TMPDIR": other},
        )  # fmt: skip
        is_over, peak_mb = False, 0
        while not is_over and time.monotonic() - began < WAIT_SECONDS:
            peak_mb = _peak_mb(process.pid) or peak_mb
            pid, status, usage = os.wait4(process.pid, os.WNOHANG)
            is_over = pid != 0
            time.sleep(0.02)
        seconds = time.monotonic() - began
        if not is_over:
            process.kill()
            _, status, usage = os.wait4(process.pid, 0)
        process.returncode = status
        told.seek(0)
        words = told.read(2_000_000).decode(errors="replace")
    code = os.waitstatus_to_exitcode(status)
    # Of the processor, since a busy machine stretches the clock's.
    worked = round(usage.ru_utime + usage.ru_stime, 1)
    if code < 0 and worked >= PROCESSOR_SECONDS - 1:
        outcome, ok = f"not over after {PROCESSOR_SECONDS} s of the processor", False
    elif not is_over:
        outcome, ok = f"not over after {WAIT_SECONDS:.0f} s", False
    elif "Traceback" in words or "reference" in words.lower() or code not in {0, 2, 3, 4}:
        outcome, ok = f"a fault (exit {code}): {_last_line(words)}", False
    else:
        outcome, ok = f"exit {code}: {_sentence(words)}", peak_mb < PEAK_MB
    return {"outcome": outcome, "seconds": round(seconds, 1), "processor_seconds": worked, "peak_mb": peak_mb, "ok": ok}


def _peak_mb(pid: int) -> int:
    """The most that a process has held so far; what the system tells at its end counts its parent's memory too."""
    lines = Path(f"/proc/{pid}/status").read_text().splitlines()
    return next((int(line.split()[1]) // 1024 for line in lines if line.startswith("VmHWM")), 0)


def _sentence(words: str) -> str:
    told = [line for line in words.splitlines() if line.startswith("fitledger: ")]
    if told:
        return told[-1].removeprefix("fitledger: ")[:160]
    report = json.loads(words[words.index("{\n") :])
    refused = [file["words"] for file in report["files"] if file["refused"]]
    read = [f"{file['file']}: {file['read']} read, {file['stored']} stored" for file in report["files"] if not file["refused"]]
    return "; ".join(refused + read)[:160]


def _last_line(words: str) -> str:
    return (words.strip().splitlines() or ["nothing told"])[-1][:120]


def main() -> None:
    """Prints the table, a row as soon as it is known."""
    for name in sys.argv[1:] or ATTACKS:
        (row,) = rows([name])
        row |= {"ok": "met" if row["ok"] else "NOT MET"}
        typer.echo("| {attack} | {processor_seconds} of {seconds} s | {peak_mb} MB | {ok} | {outcome} |".format(**row))


if __name__ == "__main__":
    main()

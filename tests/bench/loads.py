"""How long a load takes against DuckDB's own bare read of the same files, in the same run; judges nothing.

Each size is measured in processes of its own, so that the peak of memory is that of one load. Run with `make bench`;
with TEN_MILLION=1 in the environment, 10,000,000 rows as well.
"""

import argparse
import json
import os
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import duckdb
import numpy as np
import pandas as pd

from tests.bench.told import Reference, tell

SIZES = (10_000, 100_000, 1_000_000)
READ_BARE = ("knee_captures", "foot_setups")
PER_SESSION = 8  # four captures, two knees
_SMALL_FILES = 1_500
_SLICE = 1_000_000  # rows written at a time, so that making the files takes little memory


def make_exports(folder: Path, n_rows: int) -> None:
    """Captures and setups of `n_rows` rows each, with their sessions, riders and one fitter; seeded."""
    folder.mkdir(parents=True)
    chance = np.random.default_rng(1)
    n_sessions = n_rows // PER_SESSION
    n_riders = n_sessions * 2 // 3
    riders = [f"R{n:07d}" for n in range(n_riders)]
    pd.DataFrame({"rider_id": riders}).to_csv(folder / "riders.csv", index=False)
    pd.DataFrame({"fitter_id": ["F1"], "fitter_name": ["Alder"]}).to_csv(folder / "fitters.csv", index=False)
    sessions = np.array([f"S{n:07d}" for n in range(n_sessions)])
    pd.DataFrame(
        {
            "session_id": sessions,
            "rider_id": chance.choice(riders, n_sessions),
            "fitter_id": "F1",
            "studio_id": "quayside",
            "session_date": "2025-03-02",
            "visit_kind": "first",
        }
    ).to_csv(folder / "fit_sessions.csv", index=False)
    for start in range(0, n_sessions, _SLICE // PER_SESSION):
        _append_slice(folder, sessions[start : start + _SLICE // PER_SESSION], chance, is_first=start == 0)


def _append_slice(
    folder: Path, sessions: "np.ndarray[tuple[int], np.dtype[np.str_]]", chance: np.random.Generator, *, is_first: bool
) -> None:
    n_rows = len(sessions) * PER_SESSION
    key = {
        "session_id": np.repeat(sessions, PER_SESSION),
        "capture_no": np.tile(np.repeat([1, 2, 3, 4], 2), len(sessions)),
        "side": np.tile(["left", "right"], len(sessions) * 4),
    }
    captures = {
        "knee_tilt_deg": chance.normal(0, 2, n_rows).round(2),
        "knee_sway_mm": chance.gamma(9, 1.5, n_rows).round(1),
        "knee_offset_mm": chance.normal(0, 8, n_rows).round(1),
        "crank_cycles": 30,
        "cadence_rpm": 90.0,
        "power_w": 150,
    }
    setups = {
        "insole_level": chance.choice(["none", "low", "medium", "high"], n_rows),
        "shims_added": chance.integers(0, 3, n_rows),
        "shims_built_in": 0,
        "shim_place": "in_shoe",
        "stance_mm": 0.0,
        "stance_by": "cleat",
        "foot_room_ok": "true",
    }
    for name, columns in (("knee_captures", captures), ("foot_setups", setups)):
        frame = pd.DataFrame({**key, **columns})
        frame.to_csv(folder / f"{name}.csv", index=False, mode="a", header=is_first)


def make_small_files(folder: Path, whole: Path) -> None:
    """The exports of `whole`, their captures in a file a session."""
    shutil.copytree(whole, folder)
    captures = pd.read_csv(folder / "knee_captures.csv")
    (folder / "knee_captures.csv").unlink()
    for session, rows in captures.groupby("session_id"):
        rows.to_csv(folder / f"knee_captures-{session}.csv", index=False)


def bare(folder: Path) -> dict[str, float]:
    """DuckDB's own read of the two large files into typed tables of a new file."""
    with tempfile.TemporaryDirectory(dir=folder.parent) as place:
        began, used = time.perf_counter(), time.process_time()
        connection = duckdb.connect(str(Path(place) / "bare.duckdb"))
        for name in READ_BARE:
            connection.execute(f"CREATE TABLE {name} AS SELECT * FROM read_csv('{folder / name}.csv')")
        connection.close()
        return measured(began, used)


def whole_load(folder: Path, warehouse: Path) -> dict[str, float]:
    """A load with all its checks; the import of the program is not counted."""
    from etl.load import load

    began, used = time.perf_counter(), time.process_time()
    load([folder], warehouse)
    return measured(began, used)


def measured(began: float, used: float) -> dict[str, float]:
    """Seconds by the clock, seconds of processor time, and the peak of memory in MB."""
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    return {"clock": time.perf_counter() - began, "processor": time.process_time() - used, "peak_mb": peak}


def in_a_process(*words: str | Path) -> dict[str, float]:
    """One measurement in a process of its own."""
    told = subprocess.run(
        [sys.executable, "-m", "tests.bench.loads", *map(str, words)], check=True, stdout=subprocess.PIPE, text=True
    )
    found: dict[str, float] = json.loads(told.stdout)
    return found


def tell_size(n_rows: int, place: Path) -> None:
    """Tells a first load, and the same load again, beside the median of three bare reads."""
    folder, warehouse = place / f"{n_rows}", place / f"{n_rows}.duckdb"
    make_exports(folder, n_rows)
    reads = [in_a_process("--bare", folder) for _ in range(3)]
    base = {name: float(np.median([read[name] for read in reads])) for name in reads[0]}
    first = in_a_process("--load", folder, warehouse)
    again = in_a_process("--load", folder, warehouse)
    size = f"{n_rows:,} rows of captures, and of setups"
    read = Reference("DuckDB's bare read", base["clock"])
    by_processor = (
        f"by processor time {first['processor'] / base['processor']:.1f} times; peak of memory {first['peak_mb']:,.0f} MB"
    )
    tell("a first load", size, [first["clock"]], read, by_processor)
    tell("the same load again", size, [again["clock"]], Reference("a first load", first["clock"]))


def tell_small_files(n_files: int, place: Path) -> None:
    """Tells a load of a file a session beside one with the same rows in one file, by processor time in the same run."""
    whole, small = place / "whole", place / "small"
    make_exports(whole, n_files * PER_SESSION)
    make_small_files(small, whole)
    taken = {
        folder: [in_a_process("--load", folder, place / f"{folder.name}-{no}.duckdb")["processor"] for no in range(3)]
        for folder in (whole, small)
    }
    one = Reference("the same rows in one file", float(np.median(taken[whole])))
    tell("a first load, processor time", f"{n_files:,} files of captures, one a session", taken[small], one)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rows", type=int, action="append", help="measure this many rows only")
    parser.add_argument("--bare", type=Path, help=argparse.SUPPRESS)
    parser.add_argument("--load", type=Path, nargs=2, help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.bare:
        sys.stdout.write(json.dumps(bare(given.bare)))
    elif given.load:
        sys.stdout.write(json.dumps(whole_load(*given.load)))
    else:
        for n_rows in given.rows or (*SIZES, *((10_000_000,) if os.environ.get("TEN_MILLION") else ())):
            with tempfile.TemporaryDirectory() as place:
                tell_size(n_rows, Path(place))
        with tempfile.TemporaryDirectory() as place:
            tell_small_files(_SMALL_FILES, Path(place))


if __name__ == "__main__":
    main()

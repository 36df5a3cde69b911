"""Real loads in processes of their own, to be stopped, starved and killed; and what a warehouse holds."""

import random
import resource
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

from shared.catalogue import catalogue
from shared.warehouse import open_reading

COMMAND = "import sys; from dashboard.cli import main; sys.argv = ['fitledger', *sys.argv[1:]]; main()"
SESSIONS = 150


def exports(folder: Path, seed: int, first: int = 0) -> Path:
    """A folder of exports: riders, fitters, sessions, captures and setups, a few rows of them broken."""
    chance = random.Random(seed)
    numbers = range(first, first + SESSIONS)
    tables = {
        "riders": ("rider_id,birth_year", [f"R{n},{1950 + n % 50}" for n in numbers]),
        "fitters": ("fitter_id,fitter_name", ["F1,Alder"]),
        "fit_sessions": (
            "session_id,rider_id,fitter_id,studio_id,session_date,visit_kind",
            [f"S{n},R{n},F1,quay,2026-03-02,first" for n in numbers],
        ),
        "knee_captures": (
            "session_id,capture_no,side,knee_tilt_deg,knee_sway_mm",
            [
                f"S{n},{no},{side},{chance.gauss(0, 4):.2f},{chance.gauss(14, 3):.1f}"
                for n in numbers
                for no in (1, 2, 3)
                for side in ("left", "right")
            ]
            + [f"S{first},9,left,{tilt},10" for tilt in ("45", "x")],
        ),
        "foot_setups": (
            "session_id,capture_no,side,insole_level,shims_added,stance_mm",
            [f"S{n},{no},left,low,{no},0" for n in numbers for no in (1, 2, 3)],
        ),
    }
    folder.mkdir(parents=True)
    for name, (header, rows) in tables.items():
        (folder / f"{name}.csv").write_text("\n".join([header, *rows]) + "\n", encoding="utf-8")
    return folder


def start(*words: str | Path, limit: Callable[[], None] | None = None, asks: bool = False) -> subprocess.Popen[str]:
    """Starts the command in a process of its own; its progress comes line by line on standard error. `asks`: it reads."""
    return subprocess.Popen(
        [sys.executable, "-c", COMMAND, *map(str, words)],
        stdin=subprocess.PIPE if asks else None,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        preexec_fn=limit,  # noqa: PLW1509 - the child is a fresh interpreter, and sets nothing but a limit
    )


def file_size_limit(n_bytes: int) -> Callable[[], None]:
    """No file of the process may grow beyond this, as on a disk that is full."""
    return lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (n_bytes, n_bytes))


def first_step(process: subprocess.Popen[str]) -> str:
    """Waits until the load has begun to read, and so holds the warehouse."""
    assert process.stderr
    for line in process.stderr:
        if "reading" in line:
            return line
    raise AssertionError("the load ended before it began")


def state(path: Path) -> dict[str, Any]:
    """Everything that a load may change, but the time at which it ran; None where there is no warehouse."""
    if not path.exists():
        return {}
    warehouse = open_reading(path)
    found: dict[str, Any] = {name: warehouse.rows(f'SELECT * FROM core."{name}"') for name in catalogue()}
    for name in catalogue():
        found[f"raw {name}"] = warehouse.rows(f'SELECT * FROM raw."{name}" ORDER BY ALL')
    found["rejects"] = warehouse.rows("SELECT reject_no, load_id, line, words FROM raw.rejects ORDER BY ALL")
    found["loads"] = warehouse.rows("SELECT load_id FROM raw.loads ORDER BY ALL")
    found["fits"] = warehouse.rows("SELECT * FROM mart.fits ORDER BY ALL")
    found["warnings"] = warehouse.rows("SELECT * FROM raw.warnings ORDER BY ALL")
    warehouse.close()
    return found

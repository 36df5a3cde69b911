"""A load that is killed at any moment leaves the warehouse as it was before or after, and runs the next time.

`make kill` kills fifty times; the ordinary run a few times.
"""

import os
import random
import shutil
import signal
import subprocess
import sys
import time
from collections import Counter
from pathlib import Path

from etl.load import load
from tests.robust.loads import exports, first_step, start, state

KILLS = int(os.environ.get("FITLEDGER_KILLS", "6"))


def test_a_killed_load_leaves_before_or_after(tmp_path: Path) -> None:
    before, after, victim = (tmp_path / f"{name}.duckdb" for name in ("before", "after", "victim"))
    load([exports(tmp_path / "x", seed=1)], before)
    # The second load corrects every capture of the first, and brings sessions of its own.
    new = exports(tmp_path / "y", seed=2, first=0)
    exports(tmp_path / "y" / "more", seed=3, first=500)
    shutil.copyfile(before, after)
    load([new], after)
    states = {"before": state(before), "after": state(after)}
    assert states["before"] != states["after"]
    lasts = duration(new, victim, before)
    chance = random.Random(20261125)
    outcomes: Counter[str] = Counter()
    for turn in range(4 * KILLS):
        if outcomes["before"] + outcomes["after"] == KILLS:
            break
        shutil.copyfile(before, victim)
        process = start("load", new, "--warehouse", victim)
        # Every other kill falls into the last third, where the copy is finished and put in place.
        kill_after(process, chance.uniform(0 if turn % 2 else lasts * 0.7, lasts * 1.05))
        left = state(victim)
        held = next(name for name, whole in states.items() if whole == left)
        outcomes[held if process.returncode == -signal.SIGKILL else "ended before it was killed"] += 1
        load([new], victim)
        assert state(victim) == states["after"]
        left_there = {path.name.removeprefix("victim.duckdb") for path in tmp_path.glob("victim*")}
        assert {"", ".lock"} <= left_there <= {"", ".lock", ".access", ".access.lock"}
    sys.stdout.write(f"what {KILLS} kills left: {dict(outcomes)}\n")
    assert outcomes["before"] + outcomes["after"] == KILLS


def duration(new: Path, victim: Path, before: Path) -> float:
    """How long the load runs from its first step when nobody disturbs it; it only spreads the moments of the kills."""
    shutil.copyfile(before, victim)
    process = start("load", new, "--warehouse", victim)
    first_step(process)
    began = time.monotonic()
    process.communicate()
    return time.monotonic() - began


def kill_after(process: subprocess.Popen[str], seconds: float) -> None:
    first_step(process)
    try:
        process.wait(timeout=seconds)
    except subprocess.TimeoutExpired:
        process.send_signal(signal.SIGKILL)
    process.communicate()

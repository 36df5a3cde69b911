"""What a killed command leaves lying: copies of the warehouse, halves of files; and a disk that is full."""

import os
import re
import signal
import subprocess
import time
from contextlib import suppress
from pathlib import Path
from tempfile import TemporaryDirectory

from tests.attack.commands import full_disk, here, run, start, write
from tests.attack.rows import Row, row

RIDERS, KILLS = 4000, 3
# Ledgers, locks and logs are smaller.
SMALLEST_COPY_BYTES = 50_000
SIGNALS = {"SIGTERM": signal.SIGTERM, "SIGKILL": signal.SIGKILL}
_PATIENCE_SECONDS = 60


def rows() -> list[Row]:
    return [*(_killed(what, name) for what in ("check", "backup") for name in SIGNALS), _full_disk(), _backup_without_folder()]


def bounded() -> list[Row]:
    """What needs no kill."""
    return [_full_disk(), _backup_without_folder()]


def _exports(folder: Path) -> Path:
    numbers = range(RIDERS)
    return write(
        folder / "x",
        riders=[f"RVICTIM{n},road" for n in numbers],
        fitters=["F1,Alder"],
        fit_sessions=[f"S{n},RVICTIM{n},F1,quay,2026-03-02,first,noted" for n in numbers],
    )


def copies_in(*folders: Path) -> list[Path]:
    """Files large enough to hold rows, other than the warehouse, a finished backup and the exports."""
    found = []
    for folder in folders:
        # Not rglob, which fails where a folder goes meanwhile.
        for file in (Path(parent, name) for parent, _, names in os.walk(folder) for name in names):
            known = file.name in ("fitledger.duckdb", "kept.backup") or "x" in file.relative_to(folder).parts[:1]
            with suppress(FileNotFoundError):  # gone meanwhile
                if not known and file.is_file() and file.stat().st_size >= SMALLEST_COPY_BYTES:
                    found.append(file)
    return found


def _killed(what: str, name: str) -> Row:
    """Kills a command once it has a copy, then runs the next one: what is left, and does the doctor know?"""
    with TemporaryDirectory() as given:
        folder, scratch = Path(given) / "home", Path(given) / "tmp"
        folder.mkdir()
        scratch.mkdir()
        files = _exports(folder)
        assert run(folder, "load", files, scratch=scratch).returncode == 0
        more = write(folder / "x2", riders=["RNEW,road"])
        words = ["check", more] if what == "check" else ["backup", "kept.backup"]
        killed, at_once, doctor = 0, 0, ""
        while killed < KILLS and _killed_with_a_copy(start(folder, *words, scratch=scratch), SIGNALS[name], folder, scratch):
            killed += 1
            at_once = max(at_once, len(copies_in(folder, scratch)))
            doctor = doctor or run(folder, "doctor", scratch=scratch).stdout
        run(folder, *words, scratch=scratch)
        left = [path.name for path in copies_in(folder, scratch)]
    failures = [f"after the next {what}: {len(left)} copies, such as {left[0]}"] if left else []
    if at_once and not re.search(r"^TO DO .*(left|killed)", doctor, re.MULTILINE):
        failures.append(f"{at_once} copies lay there and the doctor did not say so")
    told = f"{at_once} copies left at once, none after the next start"
    return row(f"a {what} killed by {name}", f"{killed} kills with a copy made", failures, told)


def _killed_with_a_copy(process: subprocess.Popen[str], number: int, *folders: Path) -> bool:
    """Kills the process as soon as another copy lies there; whether it came to that."""
    before = len(copies_in(*folders))
    ends_at = time.monotonic() + _PATIENCE_SECONDS
    while process.poll() is None and time.monotonic() < ends_at:
        if len(copies_in(*folders)) > before:
            os.killpg(process.pid, number)
            process.communicate(timeout=_PATIENCE_SECONDS)
            return True
        time.sleep(0.002)
    process.communicate(timeout=_PATIENCE_SECONDS)
    return False


def _full_disk() -> Row:
    with TemporaryDirectory() as given:
        folder = Path(given)
        words = ["user", "add", "ada", "--role", "owner", "--password-stdin"]
        done = run(folder, *words, given="four small words here\n", limit=full_disk(40))
        left = [path.name for path in folder.iterdir() if "accounts" in path.name and "lock" not in path.name]
    failures = [f"exit code {done.returncode}: {done.stderr.strip()[:80]}"] if "inside the program" in done.stderr else []
    failures += [f"{name} is left" for name in left]
    if done.returncode == 0:
        failures.append("said to be done")
    return row("an account added on a full disk", "1 account", failures, "told in a sentence, nothing left")


def _backup_without_folder() -> Row:
    with TemporaryDirectory() as given:
        folder = Path(given)
        assert here(folder, "load", write(folder / "x", riders=["R1,road"], fitters=["F1,Alder"])).returncode == 0
        for _ in range(2):
            here(folder, "backup", "copies/")
        target = folder / "copies"
        is_folder = target.is_dir() and len(list(target.iterdir())) >= 1
        is_refused = not target.exists()
    failures = [] if is_folder or is_refused else ["a file of the name copies, with one copy in it"]
    return row("backup copies/ without that folder", "2 backups", failures, "a folder with copies" if is_folder else "refused")

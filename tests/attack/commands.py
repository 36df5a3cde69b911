"""The command on small exports: here, or in a process of its own for attacks that need a kill or a full disk."""

import io
import os
import resource
import subprocess
import sys
from collections.abc import Callable
from contextlib import chdir, redirect_stderr, redirect_stdout
from dataclasses import dataclass
from pathlib import Path
from unittest.mock import patch

from dashboard.cli import main

COMMAND = "import sys; from dashboard.cli import main; sys.argv = ['fitledger', *sys.argv[1:]]; main()"
ROOT = Path(__file__).parents[2]
HEADS = {
    "riders": "rider_id,riding",
    "fitters": "fitter_id,fitter_name",
    "fit_sessions": "session_id,rider_id,fitter_id,studio_id,session_date,visit_kind,notes",
    "follow_ups": "follow_up_id,session_id,booked_on,due_on,state",
}


@dataclass(frozen=True)
class Done:
    """How a command ended, and what it printed."""

    returncode: int
    stdout: str
    stderr: str


def here(folder: Path, *words: str | Path) -> Done:
    """Runs the command in `folder` within this process, as its entry point would."""
    out, err, code = io.StringIO(), io.StringIO(), 0
    argv = patch.object(sys, "argv", ["fitledger", *map(str, words)])
    with chdir(folder), argv, redirect_stdout(out), redirect_stderr(err):
        try:
            main()
        except SystemExit as end:
            code = end.code if isinstance(end.code, int) else 0
    return Done(code, out.getvalue(), err.getvalue())


def environment(scratch: Path | None = None) -> dict[str, str]:
    """Ours, with the temporary folder in `scratch`."""
    return {**os.environ, "PYTHONPATH": str(ROOT), **({"TMPDIR": str(scratch)} if scratch else {})}


def run(
    folder: Path, *words: str | Path, given: str = "", scratch: Path | None = None, limit: Callable[[], None] | None = None
) -> subprocess.CompletedProcess[str]:
    """Runs the command in `folder` to its end."""
    return subprocess.run(
        [sys.executable, "-c", COMMAND, *map(str, words)],
        cwd=folder, env=environment(scratch), input=given, capture_output=True, text=True, timeout=300, check=False,
        preexec_fn=limit,
    )  # fmt: skip


def start(folder: Path, *words: str | Path, scratch: Path | None = None) -> subprocess.Popen[str]:
    """Starts the command in `folder`, in a group of its own."""
    return subprocess.Popen(
        [sys.executable, "-c", COMMAND, *map(str, words)],
        cwd=folder, env=environment(scratch), stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        start_new_session=True,
    )  # fmt: skip


def full_disk(n_bytes: int) -> Callable[[], None]:
    """No file grows beyond this, as on a disk that is full."""
    return lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (n_bytes, n_bytes))


def write(folder: Path, **tables: list[str]) -> Path:
    """The tables as exports."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, lines in tables.items():
        (folder / f"{name}.csv").write_text("\n".join([HEADS[name], *lines]) + "\n", encoding="utf-8")
    return folder

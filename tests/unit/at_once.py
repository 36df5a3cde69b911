"""Programs that write to one logbook: at once, killed at any moment, or on a full disk."""

import multiprocessing
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[2]


def write_at_once(write: Callable[..., None], *given: tuple[Any, ...]) -> None:
    """Runs `write` once for each of `given`, each in a process of its own."""
    context = multiprocessing.get_context("spawn")
    writers = [context.Process(target=write, args=arguments) for arguments in given]
    for writer in writers:
        writer.start()
    for writer in writers:
        writer.join()
    assert [writer.exitcode for writer in writers] == [0] * len(given)


def killed_while_writing(code: str, count: Callable[[], int]) -> Iterator[int]:
    """Runs `code`, which prints a line for each row it has written, and kills it; FITLEDGER_KILLS=50 kills more than four.

    count: how many rows are kept. All that were told are kept, and at most the one that was under way. Yields how often it
    was killed so far.
    """
    for kill in range(int(os.environ.get("FITLEDGER_KILLS", "4"))):
        before = count()
        process = subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE, text=True, cwd=ROOT)
        assert process.stdout
        process.stdout.readline()
        time.sleep(0.013 * (kill % 7))
        process.send_signal(signal.SIGKILL)
        told = process.stdout.read().splitlines()
        process.wait()
        process.stdout.close()
        assert before + 1 + len(told) <= count() <= before + 2 + len(told)
        yield kill + 1


def on_a_full_disk(file: Path, prepare: str, write: str) -> tuple[int, str]:
    """Runs `prepare`, then `write` for each n from 0, where no file can grow beyond what `file` has; the n that failed, and the
    fault in words. The size of files is bounded for a process of its own."""
    code = f"""
import resource, signal
from pathlib import Path
from shared.errors import LogbookError
{prepare}
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
resource.setrlimit(resource.RLIMIT_FSIZE, ({file.stat().st_size}, {file.stat().st_size}))
n = 0
try:
    for n in range(2000):
        {write}
except LogbookError as fault:
    print(n, fault)
"""
    told = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=ROOT).stdout
    n, words = told.split(" ", 1)
    return int(n), words

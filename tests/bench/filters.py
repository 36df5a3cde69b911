"""Times every question after a change of the filters, at the demo's size and at a million knee captures: median and 95th
percentile of seconds in the server and of its processor time, beside a bare scan of the captures in the same run.

`make bench` runs it. Processor time counts all processors: it may exceed the clock's, and other work does not move it.
"""

import sys
import time
from contextlib import suppress
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from dashboard.questions.asking import QUESTIONS, Asker
from dashboard.questions.selection import parse_selection
from shared.errors import StatisticsError
from shared.settings import Settings
from tests.bench.questions import build, scan_seconds

# As a reader clicks through the filters, each a change of the one before.
CHANGES: tuple[dict[str, str], ...] = (
    {},
    {"from": "2026-01-01"},
    {"from": "2025-07-01", "to": "2025-12-31"},
    {"from": "2025-01-01", "to": "2025-12-31"},
    {"from": "2024-06-01"},
    {"studio": "quayside"},
    {"studio": "ropewalk"},
    {"studio": "quayside", "from": "2026-01-01"},
    {"fitter": "F1"},
    {"fitter": "F3"},
    {"fitter": "F2,F4"},
    {"visit_kind": "first"},
    {"visit_kind": "follow_up"},
    {"riding": "road"},
    {"arch_height": "low"},
    {"arch_height": "high"},
    {"forefoot": "marked_varus"},
    {"forefoot": "mild_varus", "side": "left"},
    {"split": "arch_height"},
    {"split": "foot_type"},
    {"split": "visit_kind"},
)
# Effects take seconds at a million captures: every seventh change tells enough.
_EVERY = {"effects": 7}


def timed(path: Path, question: str) -> tuple[list[float], list[float]]:
    """Seconds on the clock and of the processors for each change, from one asker, as a served dashboard has it."""
    asker = Asker(path, Settings())
    asker.choices()
    clock, processor = [], []
    for words in CHANGES[:: _EVERY.get(question, 1)]:
        selection = parse_selection(words)
        start, used = time.perf_counter(), time.process_time()
        with suppress(StatisticsError):  # too few of them: a sentence is an answer too
            asker.ask(question, selection)
        clock.append(time.perf_counter() - start)
        processor.append(time.process_time() - used)
    return clock, processor


def main() -> None:
    """Prints one line a question and size."""
    with TemporaryDirectory() as folder:
        small, large = build(Path(folder))
        timed(small, "studio")  # imports, which a served dashboard has behind it
        for name, path in (("demo", small), ("a million captures", large)):
            bare = max(scan_seconds(path), 1e-4)
            sys.stdout.write(f"{name}; a bare scan of the captures takes {bare:.4f} s\n")
            sys.stdout.write("question        median      95 %   95 % / scan   processors: median      95 %\n")
            for question in QUESTIONS:
                clock, processor = timed(path, question)
                figures = [float(np.quantile(values, share)) for values in (clock, processor) for share in (0.5, 0.95)]
                sys.stdout.write(
                    f"{question:<12}{figures[0]:8.3f} s{figures[1]:8.3f} s{figures[1] / bare:12.0f} x"
                    f"{figures[2]:20.3f} s{figures[3]:8.3f} s\n"
                )


if __name__ == "__main__":
    main()

"""Times every question after a change of the filters, at the demo's size and at a million knee captures: median and 95th
percentile of seconds in the server and of its processor time, beside a bare scan of the captures in the same run.

Effects are asked as the Supports page asks them: a line for its answer, over all changes, and one for each further view,
with those before it remembered. The last line of effects is the answer with all its parts, which no change of the filters
asks for.

`make bench` runs it. Processor time counts all processors: it may exceed the clock's, and other work does not move it.
"""

import time
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from dashboard.figures.names import MAIN_OUTCOMES
from dashboard.questions.door.asking import Asker
from dashboard.questions.door.registry import QUESTIONS
from dashboard.questions.memory.side_by_side import one_thread_a_product
from dashboard.questions.selection.selection import Selection, parse_selection
from dashboard.web.allocation import keep_freed_memory
from shared.errors import StatisticsError
from shared.settings import Settings
from tests.bench.questions import DEMO, MILLION, build, scan_of
from tests.bench.told import Reference, tell

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
# All parts of the effects take seconds at a million captures: every seventh change tells enough.
_EVERY = {"effects": 7}
_ALL_EFFECTS = "effects, all"
# The places of Supports, the answer and then its views: parts, outcomes, and a change of how many is asked.
_PLACES: dict[str, tuple[tuple[str, ...], tuple[str, ...], int]] = {
    "effects, answer": (("directions",), MAIN_OUTCOMES, 1),
    "effects, what moved it": (("overall",), MAIN_OUTCOMES, 1),
    "effects, for whom": (("overall", "split"), MAIN_OUTCOMES[:1], 3),
    "effects, by dose": (("dose",), MAIN_OUTCOMES[:1], 3),
    "effects, how far to trust it": (("responders", "influence"), MAIN_OUTCOMES, 3),
}
Times = tuple[list[float], list[float]]


def timed(path: Path, question: str) -> Times:
    """Seconds on the clock and of the processors for each change, from one asker, as a served dashboard has it."""
    asker = Asker(path, Settings())
    asker.choices()
    times: Times = ([], [])
    for words in CHANGES[:: _EVERY.get(question, 1)]:
        _time(times, asker, question, parse_selection(words))
    return times


def timed_places(path: Path) -> dict[str, Times]:
    """The same of each view of the Supports page, asked one after the other as its reader waits for them."""
    asker = Asker(path, Settings())
    asker.choices()
    found: dict[str, Times] = {place: ([], []) for place in _PLACES}
    for index, words in enumerate(CHANGES):
        selection = parse_selection(words)
        for place, (parts, outcomes, every) in _PLACES.items():
            asked = replace(selection, split=selection.split or "foot_type") if "split" in parts else selection
            if index % every == 0:
                _time(found[place], asker, "effects", asked, parts=parts, outcomes=outcomes)
    return found


def _time(times: Times, asker: Asker, question: str, selection: Selection, **only: tuple[str, ...]) -> None:
    start, used = time.perf_counter(), time.process_time()
    with suppress(StatisticsError):  # too few of them: a sentence is an answer too
        asker.ask(question, selection, **only)
    times[0].append(time.perf_counter() - start)
    times[1].append(time.process_time() - used)


def main() -> None:
    """Tells one line a question, or a place of one, and size."""
    keep_freed_memory()  # as a served dashboard does
    one_thread_a_product()
    with TemporaryDirectory() as folder:
        small, large = build(Path(folder))
        timed(small, "studio")  # imports, which a served dashboard has behind it
        for size, path in ((DEMO, small), (MILLION, large)):
            scan = scan_of(path)
            for place, times in timed_places(path).items():
                _tell(place, size, times, scan)
            for question in QUESTIONS:
                _tell(_ALL_EFFECTS if question == "effects" else question, size, timed(path, question), scan)


def _tell(line: str, size: str, times: Times, scan: Reference) -> None:
    clock, processors = times
    more = f"processors {np.median(processors):.3f} s, 95 % {np.quantile(processors, 0.95):.3f} s"
    tell(f"{line}, filters changed", size, clock, scan, more)


if __name__ == "__main__":
    main()

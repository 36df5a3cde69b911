"""Watches a folder: exports dropped into it are loaded once they are complete.

Polling, so that it works on network shares too. A file is complete when its size and time have not changed for a settled
time, or when an empty file of its name with the ending .done stands beside it. What was loaded is known by its digest from
the warehouse's own ledger, so that a restart, and a warehouse that came back from a backup, do the right thing.
"""

import hashlib
import json
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from importlib.metadata import version
from pathlib import Path
from typing import Any

from etl.keeping.migrate import bring_up_to_date
from etl.read import FoundFile, find_files
from etl.report import OUTCOMES, LoadReport
from shared.errors import FitledgerError, InputUnusableError
from shared.files import beside, write_in_place
from shared.log_lines import lines_of_a_load
from shared.settings_running import Reading
from shared.warehouse import open_reading, snapshot_of

DONE = ".done"
# What browsers, transfer programs and offices name a file that they are still writing.
UNFINISHED = (".part", ".partial", ".filepart", ".crdownload", ".download", ".tmp", ".temp", ".swp")
LONGEST_PAUSE = 900.0
# A file that never settles does not hold up the others for longer than this many settled times.
_PATIENCE = 10
# So many refused files are known again, the last ones; an earlier one is read once more, and refused again.
_NOTES = 10_000
_NOTED = ".watched"
_SQL = "SELECT digest FROM raw.files WHERE digest IS NOT NULL UNION SELECT digest FROM raw.undone_files"

Loader = Callable[[list[FoundFile]], LoadReport]
Tell = Callable[[str], None]


@dataclass(frozen=True)
class _Look:
    """How a file looked, and since when it has looked so (seconds of the clock)."""

    size: int
    modified_ns: int
    since: float


@dataclass
class Watcher:
    """Looks at `folder` again and again. `load` loads files; `tell` takes one line.

    `clock` gives seconds since the epoch; `pause` waits for some seconds and says whether to go on.
    """

    folder: Path
    warehouse: Path
    load: Loader
    clock: Callable[[], float]
    pause: Callable[[float], bool]
    tell: Tell
    settled_seconds: float = 30.0
    every_seconds: float = 10.0
    reading: Reading = field(default_factory=Reading)
    # What is done between two looks, as sending the letters that are due.
    between: Callable[[], None] = lambda: None
    looks: dict[Path, _Look] = field(default_factory=dict)
    digests: dict[tuple[Path, int, int], str] = field(default_factory=dict)
    ledger: tuple[Any, set[str], int] | None = None
    failures: int = 0
    last_failure: str = ""

    def run(self) -> None:
        """Looks until `pause` says to end; a load that runs is finished first."""
        while True:
            self.turn()
            self.between()
            if not self.pause(self.next_pause):
                return

    @property
    def next_pause(self) -> float:
        """Seconds to the next look: twice as long after each failure in a row."""
        return min(self.every_seconds * 2.0**self.failures, max(LONGEST_PAUSE, self.every_seconds))

    def turn(self, *, once: bool = False) -> LoadReport | None:
        """One look: loads what is complete and new, all of it in one load; returns its report.

        `once`: nobody looks again, so that a file's own time must tell for how long it has not changed.
        A failure is told once, as long as it stays the same.
        """
        try:
            files = self._complete(once)
            known = self._known() if files else set()
            new = [file for file in files if self._digest(file) not in known]
            with lines_of_a_load():
                report = self._load(new) if new else None
        except (FitledgerError, OSError) as fault:
            self.failures += 1
            if str(fault) != self.last_failure:
                self.last_failure = str(fault)
                self.tell(f"not loaded, will be tried again: {fault}")
            return None
        self.failures, self.last_failure = 0, ""
        return report

    def _load(self, files: list[FoundFile]) -> LoadReport:
        try:
            report = self.load(files)
        except InputUnusableError as refusal:
            if len(files) > 1:
                # One of them may have kept the others out.
                reports = [self._load([file]) for file in files]
                return LoadReport(files=[row for report in reports for row in report.files])
            # No use in trying the same bytes again.
            self._remember(files, "refused")
            self.tell(f"refused: {', '.join(file.name for file in files)}: {refusal}")
            return LoadReport()
        self._remember(files, "loaded")
        self.tell(_line(report))
        return report

    def _complete(self, once: bool) -> list[FoundFile]:
        now = self.clock()
        if not self.folder.is_dir():
            raise InputUnusableError(f"{self.folder}: there is no such folder, or the share is not connected.")
        files = [file for file in find_files([self.folder], reading=self.reading) if _is_finished_name(file.path.name)]
        looks = {file.path: look for file in files if (look := self._look(file.path, now, once))}
        self.looks = looks
        # Of files that are gone or changed nothing is kept, however long the watch lasts.
        seen = {(path, look.size, look.modified_ns) for path, look in looks.items()}
        self.digests = {key: digest for key, digest in self.digests.items() if key in seen}
        complete = [file for file in files if file.path in looks and self._is_complete(file.path, looks[file.path], now)]
        moving = [path for path in looks if path not in {file.path for file in complete}]
        # Files of one drop belong together: riders before their sessions spares rejects that heal by themselves.
        waited = max((now - looks[file.path].since for file in complete), default=0.0)
        if moving and waited < _PATIENCE * self.settled_seconds and not once:
            return []
        return complete

    def _look(self, path: Path, now: float, once: bool) -> _Look | None:
        try:
            state = path.stat()
        except FileNotFoundError:
            return None  # moved away since the folder was listed
        earlier = self.looks.get(path)
        if earlier and (earlier.size, earlier.modified_ns) == (state.st_size, state.st_mtime_ns):
            return earlier
        # A share's clock may be ahead of this machine's; then nothing is known but this look.
        since = min(state.st_mtime, now) if once else now
        return _Look(state.st_size, state.st_mtime_ns, since)

    def _is_complete(self, path: Path, look: _Look, now: float) -> bool:
        return beside(path, DONE).exists() or (look.size > 0 and now - look.since >= self.settled_seconds)

    def _digest(self, file: FoundFile) -> str:
        state = file.path.stat()
        if file.refusal:
            return f"unread {state.st_size} {state.st_mtime_ns}"  # too large: reading it whole would hold up the others
        key = (file.path, state.st_size, state.st_mtime_ns)
        if key not in self.digests:
            with file.path.open("rb") as content:
                self.digests[key] = hashlib.file_digest(content, "sha256").hexdigest()
        return self.digests[key]

    def _known(self) -> set[str]:
        """Digests that need no load: in the ledger, taken back by hand, or tried by this program on this state to no use."""
        loaded, last = self._ledger()
        # A lower number than then: the warehouse is an earlier one, and what brought nothing new may be new to it.
        tried = tried_files(self.warehouse).items()
        return loaded | {digest for digest, note in tried if note["load"] <= last and note["program"] == version("fitledger")}

    def _ledger(self) -> tuple[set[str], int]:
        """The digests that the warehouse knows, and its last load; read again only where the file has changed."""
        snapshot = snapshot_of(self.warehouse)
        if snapshot is None:
            return set(), 0
        if self.ledger is None or self.ledger[0] != snapshot:
            bring_up_to_date(self.warehouse)
            snapshot = snapshot_of(self.warehouse)
            opened = open_reading(self.warehouse)
            try:
                digests = {row["digest"] for row in opened.rows(_SQL)}
                last = int(opened.value("SELECT coalesce(max(load_id), 0) FROM raw.loads"))
            finally:
                opened.close()
            self.ledger = (snapshot, digests, last)
        return self.ledger[1:]

    def _remember(self, files: Iterable[FoundFile], outcome: str) -> None:
        """Notes what the ledger does not: files that were refused or brought nothing new."""
        last = self._ledger()[1]
        note = {"load": last, "program": version("fitledger"), "outcome": outcome}
        notes = tried_files(self.warehouse) | {self._digest(file): note for file in files}
        notes = dict(list(notes.items())[-max(_NOTES, self.reading.most_files) :])
        self.warehouse.parent.mkdir(parents=True, exist_ok=True)
        write_in_place(beside(self.warehouse, _NOTED), json.dumps(notes, indent=1).encode())


def tried_files(warehouse: Path) -> dict[str, dict[str, Any]]:
    """What the watch of a warehouse has noted of the files that it tried, by their digests: load, program, outcome."""
    try:
        notes: dict[str, dict[str, Any]] = json.loads(beside(warehouse, _NOTED).read_text(encoding="utf-8"))
    except (FileNotFoundError, ValueError):
        return {}
    return notes


def _is_finished_name(name: str) -> bool:
    return not name.startswith((".", "~")) and not name.lower().endswith(UNFINISHED)


def _line(report: LoadReport) -> str:
    """One line on a load: its number, files, rows, and what was rejected or refused."""
    sums = {name: sum(getattr(file, name) for file in report.files) for name in ("read", *OUTCOMES)}
    n_read = sums.pop("read")
    what = f"load {report.load_id}" if report.load_id else "nothing new"
    refused = [file for file in report.files if file.refused]
    words = f"{what}: {len(report.files)} files, {n_read} rows read = " + " + ".join(f"{n} {name}" for name, n in sums.items())
    words += "".join(f"; refused: {file.words}" for file in refused)
    # Questions may name riders, and this line goes into a log.
    words += f"; asked: {len(report.questions)}, told by fitledger check" if report.questions else ""
    words += report.cell_words
    return words + ("; fitledger rejects lists the rejected rows" if sums["rejected"] or report.cell_words else "")

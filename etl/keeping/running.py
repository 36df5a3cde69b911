"""What the doctor tells of a warehouse that is served and loaded: the line of loads, faults in the log, memory for answers."""

import re
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Final, Literal

from shared.errors import FitledgerError
from shared.files import writers_of
from shared.memory import MB, memory_left
from shared.settings import Settings, load_settings
from shared.statistics.wording import counted

Told = tuple[str, Literal["fine", "note", "do"], str, str]
LOG: Final = Path("fitledger.log")
# A load of ten million rows takes minutes.
_STUCK: Final = timedelta(hours=1)
_FAULTS_OF: Final = timedelta(days=7)
_FAULT: Final = re.compile(r"^(\d{4}-\d\d-\d\d \d\d:\d\d:\d\d),\d+ ERROR ([Ff]ault [ \w:.-]+)$", re.MULTILINE)


def running_told(warehouse: Path, settings: Path | None, now: datetime) -> Iterator[Told]:
    """Name, state, words and what to do, a check each; `now` in UTC."""
    yield from _line(warehouse, now)
    yield from _faults(now)
    yield from _memory(settings)


def _line(warehouse: Path, now: datetime) -> Iterator[Told]:
    if not (came := writers_of(warehouse)):
        return
    stands = now - datetime.fromtimestamp(came[0], UTC)
    words = f"{counted(len(came), 'program')} in it, the first for {max(0, int(stands.total_seconds() // 60))} minutes."
    if stands < _STUCK:
        yield "line of loads", "note", words, "Each has its turn; wait for them."
    else:
        todo = "See whether the first still works; if it hangs, end it: nothing is lost, and the next has its turn."
        yield "line of loads", "do", words, todo


def _faults(now: datetime) -> Iterator[Told]:
    try:
        text = LOG.read_text(encoding="utf-8", errors="replace")
    except OSError:
        return
    since = f"{(now - _FAULTS_OF).astimezone():%Y-%m-%d %H:%M:%S}"
    found = [one for one in _FAULT.findall(text) if one[0] >= since]
    if found:
        at, what = found[-1]
        words = f"{counted(len(found), 'fault')} in {LOG} in the last {_FAULTS_OF.days} days; the last at {at}: {what}."
        yield (
            "faults",
            "note",
            words,
            "Send the log to whoever looks after fitledger; for want of memory, give more.",
        )


def _memory(settings: Path | None) -> Iterator[Told]:
    try:
        most = load_settings(settings).serving.remembered_mb
    except FitledgerError:
        most = Settings().serving.remembered_mb  # told by the check of the settings
    left = memory_left()
    if left is None:
        return
    words = f"answers may take {most:,} MB ([serving] remembered_mb) of {left.n_bytes // MB:,} MB, {left.of}."
    if most * MB > left.n_bytes:
        yield "memory", "note", words, "Let answers take less, or give more: beyond it the system ends the dashboard."
    else:
        yield "memory", "fine", words, ""

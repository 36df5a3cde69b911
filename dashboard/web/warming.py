"""Makes the first answers ready before a reader asks: as the dashboard starts, and again when a load has replaced its file.

The dashboard answers meanwhile; whoever asks what is just being made waits for that alone. What cannot be made is told in its
own place to whoever asks for it, and keeps nothing else back.
"""

import logging
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, Final

from dashboard.components.faults import told
from dashboard.questions.door.asking import Asker
from shared.errors import StatisticsError

READY: Final = "ready"
STATE: Final = "FITLEDGER_WARMTH"
_LOOK_SECONDS: Final = 2.0
log = logging.getLogger("fitledger.serving")


@dataclass
class _Round:
    """What is made of one state of the warehouse: how many answers of how many, and the names of those that failed."""

    n_all: int = 0
    n_done: int = 0
    failed: list[str] = field(default_factory=list)
    making: str | None = None


class Warming:
    """A thread of its own that makes the answers of `asker` ready, one after the other."""

    def __init__(self, asker: Asker, look_seconds: float = _LOOK_SECONDS) -> None:
        self._asker = asker
        self._look_seconds = look_seconds
        self._stop = threading.Event()
        self._round = _Round()
        self._thread = threading.Thread(target=self._run, name="warming", daemon=True)

    def start(self) -> None:
        """Begins; returns at once."""
        self._thread.start()

    def stop(self) -> bool:
        """Ends after the answer that is being made; whether it has ended already."""
        self._stop.set()
        return not self._thread.is_alive()

    def state(self) -> dict[str, Any]:
        """What is ready, for whoever runs the server: names of questions and counts, nothing of the studio's."""
        now = self._round
        return {
            "ready": bool(now.n_all) and now.n_done == now.n_all,
            "made": now.n_done,
            "of": now.n_all,
            "making": now.making,
            "failed": list(now.failed),
        }

    def make(self) -> None:
        """Makes every answer of the warehouse as it stands, until it is stopped."""
        began = time.monotonic()
        ahead = self._asker.ahead()
        self._round = now = _Round(len(ahead))
        for name, ask in ahead:
            if self._stop.is_set():
                return
            now.making = name
            if not _is_made(name, ask):
                now.failed.append(name)
            now.n_done += 1
        now.making = None
        log.info("%d answers are ready after %.1f s", now.n_done - len(now.failed), time.monotonic() - began)

    def _run(self) -> None:
        made_of = None
        while not self._stop.is_set():
            snapshot = self._asker.snapshot()
            if snapshot is not None and snapshot != made_of:
                self.make()
                made_of = snapshot
            self._stop.wait(self._look_seconds)


def _is_made(name: str, ask: Callable[[], object]) -> bool:
    try:
        ask()
    except StatisticsError:  # a refusal is an answer
        return True
    except Exception as fault:  # whatever it is, it is told to who asks for this answer, and keeps no other back
        log.warning("%s cannot be answered: %s", name, told(fault))
        return False
    return True

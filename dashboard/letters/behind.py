"""Sends letters behind a served dashboard: after a load from the Data page, and again while one that failed waits for it."""

import logging
import threading
from typing import Final

from dashboard.letters.due import Tell, send_due_quietly
from dashboard.questions.door.asking import Asker
from shared.errors import LogbookError
from shared.logbook.letters import Letters

log = logging.getLogger("fitledger.letters")
# How often a letter that waits to be tried again is looked at; when it is tried stands with the letter.
PAUSE_SECONDS: Final = 300.0


class SentBehind:
    """Called after a load. A mail server may take minutes, so that nobody who loads waits for it: one thread sends, as long as
    there is anything to send."""

    def __init__(self, asker: Asker, tell: Tell | None = None, *, pause_seconds: float = PAUSE_SECONDS) -> None:
        self._asker = asker
        self._tell = tell or _noted
        self._pause = pause_seconds
        self._asked = threading.Event()
        self._lock = threading.Lock()
        self._thread: threading.Thread | None = None

    def __call__(self) -> None:
        """Has what is due sent, and returns at once; does nothing where no letters are set."""
        if not self._asker.settings.letters.is_set:
            return
        self._asked.set()
        with self._lock:
            if self._thread is None:
                self._thread = threading.Thread(target=self._send, name="letters", daemon=True)
                self._thread.start()

    def ended(self, seconds: float) -> bool:
        """Whether nothing is left to send within so many seconds."""
        thread = self._thread
        if thread:
            thread.join(seconds)
        return thread is None or not thread.is_alive()

    def _send(self) -> None:
        while True:
            self._asked.clear()
            send_due_quietly(self._asker, self._tell)
            waits = self._waits()
            with self._lock:
                if not waits and not self._asked.is_set():
                    self._thread = None
                    return
            self._asked.wait(self._pause if waits else 0)

    def _waits(self) -> bool:
        try:
            return any(letter.state == "later" for letter in Letters(self._asker.path).unsent())
        except LogbookError:
            return False  # told by whoever sent, and by the doctor


def _noted(words: str) -> None:
    """What became of a letter, in the log, without the address that it went to."""
    log.info("%s", " ".join("(address)" if "@" in word else word for word in words.split(" ")))

"""How often a password may be tried: after a few failures a name, and an address, must wait, twice as long each time."""

import threading
import time
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

FREE: Final = 5
FIRST_WAIT_SECONDS: Final = 30.0
LONGEST_WAIT_SECONDS: Final = 900.0
# Failures are forgotten after this long without another one.
FORGOTTEN_SECONDS: Final = 3600.0
# An address may stand for a whole studio, so it has more tries than a name.
ADDRESS_FREE: Final = 20
_KEPT: Final = 10_000


@dataclass
class _Failures:
    count: int
    last: float


class Attempts:
    """Thread-safe, in memory: a restart forgets, which costs more than it helps whoever guesses."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._lock = threading.Lock()
        self._failures: OrderedDict[tuple[str, str], _Failures] = OrderedDict()

    def wait_seconds(self, name: str, address: str) -> float:
        """How long until this name may be tried from this address; 0 where it may be now."""
        with self._lock:
            return max(self._wait(key, free) for key, free in _keys(name, address))

    def failed(self, name: str, address: str) -> None:
        """Counts a failure."""
        with self._lock:
            now = self._clock()
            for key, _ in _keys(name, address):
                known = self._failures.pop(key, None)
                fresh = known is None or now - known.last > FORGOTTEN_SECONDS
                self._failures[key] = _Failures(1 if fresh or known is None else known.count + 1, now)
            while len(self._failures) > _KEPT:
                self._failures.popitem(last=False)

    def succeeded(self, name: str, address: str) -> None:
        """Forgets the failures of a name; those of the address stay."""
        with self._lock:
            self._failures.pop(_keys(name, address)[0][0], None)

    def _wait(self, key: tuple[str, str], free: int) -> float:
        known = self._failures.get(key)
        if known is None or known.count < free:
            return 0.0
        wait = min(LONGEST_WAIT_SECONDS, FIRST_WAIT_SECONDS * 2.0 ** min(known.count - free, 16))
        return max(0.0, known.last + wait - self._clock())


def _keys(name: str, address: str) -> tuple[tuple[tuple[str, str], int], ...]:
    return (("name", name.lower()[:64]), FREE), (("address", address), ADDRESS_FREE)


def told(seconds: float) -> str:
    """A wait in words."""
    minutes = -(-seconds // 60)
    return f"{-(-seconds // 1):.0f} seconds" if seconds <= 90 else f"{minutes:.0f} minutes"

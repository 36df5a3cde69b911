"""How often a password or a code may be tried. A try is counted before it is checked, so that tries at one moment count too.

A browser that brings the mark of an earlier sign-in of a name has a counter of its own, which nobody else can fill (OWASP,
"Slow Down Online Guessing Attacks with Device Cookies"). Unknown browsers are slowed down by name and address, by address
(IPv6: by its /64), and all of them together by name. The last is a pace and no lock: who is told to wait keeps a turn, and
nobody waits for longer than `LONGEST_WAIT_SECONDS`.
"""

import threading
import time
from collections import OrderedDict
from collections.abc import Callable, Hashable
from dataclasses import dataclass
from ipaddress import IPv6Address, ip_address
from typing import Final, Literal, TypeVar

FREE: Final = 5
FIRST_WAIT_SECONDS: Final = 30.0
LONGEST_WAIT_SECONDS: Final = 900.0
# Failures are forgotten after this long without another one.
FORGOTTEN_SECONDS: Final = 3600.0
# An address may stand for a whole studio, so it has more tries than a name.
ADDRESS_FREE: Final = 20
# Of unknown browsers together, so many tries of a name at once, and then one every so many seconds.
NAME_FREE: Final = 30
NAME_EVERY_SECONDS: Final = 30.0
KEPT: Final = 10_000
_IPV6_NETWORK: Final = 64
_Name = TypeVar("_Name", bound=Hashable)
_Value = TypeVar("_Value")
_Key = tuple[str, ...]


@dataclass(frozen=True)
class Trier:
    """Who tries: the name that was typed, the address it came from, the mark of a browser that is known for this name, and
    whether a password or a code of the second step is tried."""

    name: str
    address: str
    device: str | None = None
    kind: Literal["password", "code"] = "password"

    @property
    def keys(self) -> tuple[tuple[_Key, int], ...]:
        """The counters that this try counts in, each with its free tries."""
        name, address = self.name.lower()[:64], network_of(self.address)
        if self.device:
            return ((("device", self.kind, self.device), FREE),)
        # Whoever tries codes has the password already, so that they are counted by name, wherever they come from.
        own = ("code", name) if self.kind == "code" else ("password", name, address)
        return (own, FREE), (("address", address), ADDRESS_FREE)


@dataclass
class _Failures:
    count: int
    last: float


class Attempts:
    """Thread-safe, in memory, of bounded size: a restart forgets, which costs more than it helps whoever guesses."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._lock = threading.Lock()
        self._failures: OrderedDict[_Key, _Failures] = OrderedDict()
        # When the next try of a name is due for unknown browsers, and the turns that were promised to those who wait.
        self._due: OrderedDict[str, float] = OrderedDict()
        self._turns: OrderedDict[_Key, float] = OrderedDict()

    def reserve(self, trier: Trier) -> float:
        """Counts a try and gives 0, or gives the seconds to wait; only after a 0 may anything be checked."""
        with self._lock:
            wait = self._longest(trier)
            if not wait and trier.kind == "password" and not trier.device:
                wait = self._wait_for_turn(trier)
            if not wait:
                for key, _ in trier.keys:
                    self._count(key)
            return wait

    def wait_seconds(self, trier: Trier) -> float:
        """How long until the next try; 0 where it may be now. Counts nothing."""
        with self._lock:
            return self._longest(trier)

    def succeeded(self, trier: Trier) -> None:
        """Forgets the failures of whoever tried; those of others at the same address stay."""
        self.undo(trier)
        with self._lock:
            self._failures.pop(trier.keys[0][0], None)

    def undo(self, trier: Trier) -> None:
        """Takes back a reservation that led to no check, or to a right one."""
        with self._lock:
            for key, _ in trier.keys:
                known = self._failures.get(key)
                if known is not None:
                    known.count -= 1

    def _longest(self, trier: Trier) -> float:
        return max(self._wait(key, free) for key, free in trier.keys)

    def _wait(self, key: _Key, free: int) -> float:
        known = self._failures.get(key)
        if known is None or known.count < free:
            return 0.0
        wait = min(LONGEST_WAIT_SECONDS, FIRST_WAIT_SECONDS * 2.0 ** min(known.count - free, 16))
        return max(0.0, known.last + wait - self._clock())

    def _count(self, key: _Key) -> None:
        now = self._clock()
        known = self._failures.pop(key, None)
        count = 1 if known is None or now - known.last > FORGOTTEN_SECONDS else known.count + 1
        _keep(self._failures, key, _Failures(count, now))

    def _wait_for_turn(self, trier: Trier) -> float:
        """The pace of a name: a bucket that runs over into turns, one for each address that waits."""
        now, own, name = self._clock(), trier.keys[0][0], trier.name.lower()[:64]
        turn = self._turns.pop(own, None)
        if turn is not None and now - turn < LONGEST_WAIT_SECONDS:
            if now >= turn:
                return 0.0
            _keep(self._turns, own, turn)
            return turn - now
        burst = NAME_FREE * NAME_EVERY_SECONDS
        due = max(self._due.pop(name, now), now)
        wait = min(LONGEST_WAIT_SECONDS, due + NAME_EVERY_SECONDS - now - burst)
        _keep(self._due, name, min(due + NAME_EVERY_SECONDS, now + burst + LONGEST_WAIT_SECONDS))
        if wait <= 0:
            return 0.0
        _keep(self._turns, own, now + wait)
        return wait


def _keep(kept: OrderedDict[_Name, _Value], key: _Name, value: _Value) -> None:
    """Keeps a value as the newest; the oldest gives way where there are too many."""
    kept[key] = value
    while len(kept) > KEPT:
        kept.popitem(last=False)


def network_of(address: str) -> str:
    """The address by which tries are counted: an IPv4 address, the /64 of an IPv6 one; anything else as it is."""
    try:
        ip = ip_address(address)
    except ValueError:
        return address[:64]
    if not isinstance(ip, IPv6Address):
        return str(ip)
    if ip.ipv4_mapped:
        return str(ip.ipv4_mapped)
    return str(IPv6Address(int(ip) >> _IPV6_NETWORK << _IPV6_NETWORK))


def told(seconds: float) -> str:
    """Says a wait in words: in seconds up to a minute and a half, in minutes above it."""
    minutes = -(-seconds // 60)
    return f"{-(-seconds // 1):.0f} seconds" if seconds <= 90 else f"{minutes:.0f} minutes"

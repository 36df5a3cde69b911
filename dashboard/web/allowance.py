"""How long a connection may be at what it is at: a purse of seconds that waiting empties and moved bytes fill again."""

from enum import Enum, auto
from typing import Final

from shared.settings_running import Serving

# A client that was quick may stand still for so many times what one may from the beginning, and no longer.
_MOST_SAVED: Final = 4


class At(Enum):
    """The stage at which a connection is."""

    NOTHING = auto()  # between two requests
    HEAD = auto()  # the head of a request, or waiting for the first one
    BODY = auto()
    WORK = auto()  # the server's turn
    ANSWER = auto()  # an answer waits to be read


class Allowance:
    """What one connection has left. Times are given, so that a test can make them up."""

    def __init__(self, limits: Serving) -> None:
        self._whole = {
            At.NOTHING: limits.idle_seconds,
            At.HEAD: limits.header_seconds,
            At.BODY: limits.body_seconds,
            At.ANSWER: limits.body_seconds,
        }
        self._seconds_per_byte = 1 / limits.least_bytes_per_second
        self._at: tuple[At, int] | None = None
        self._left = self._looked = 0.0
        self._moved = 0

    def look(self, at: At, round_: int, moved: int, now: float) -> float:
        """The share of its time that is used, 1 where it is up; another `at` or `round_` than before begins anew.

        `moved`: bytes of the body received, or of answers sent, since the connection began. A body and an answer may lag behind
        the least rate, or stand still, for `body_seconds`; the head as a whole must come within `header_seconds`.
        """
        if (at, round_) != self._at:
            self._at, self._left = (at, round_), self._whole.get(at, 0.0)
        elif at in self._whole:
            gained = (moved - self._moved) * self._seconds_per_byte if at in (At.BODY, At.ANSWER) else 0.0
            self._left = min(self._left - (now - self._looked) + gained, _MOST_SAVED * self._whole[at])
        self._looked, self._moved = now, moved
        return 1 - self._left / self._whole[at] if at in self._whole else 0.0

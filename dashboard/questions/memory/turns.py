"""Turns: which view of a reader is the newest, so that nothing is computed that nobody waits for any more.

A reader's browser tab asks every place of a page again when the selection changes. The newest view takes the turn; what is
still being computed for an older one is stopped at its next step. Nothing of one tab is ever told to another: a turn holds
no answer, only whether it is the newest.
"""

import threading
from collections import OrderedDict
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Final

from shared.errors import SupersededError

# Tabs whose newest view is known; what a forgotten one asks is never stopped.
_KEPT: Final = 2048


class Turn:
    """One place of one view that a tab has asked for; `number` counts what the tab asks."""

    def __init__(self, number: int, view: tuple[str, str]) -> None:
        self.number = number
        self.view = view
        self._is_newest = True
        self._waiting = 0
        self._lock = threading.Lock()
        self._stops: list[Callable[[], None]] = []

    @property
    def is_wanted(self) -> bool:
        """Whether it is the newest, or another one waits for what is computed under it."""
        return self._is_newest or self._waiting > 0

    def give_way(self) -> None:
        """A newer view has taken the turn: stops what is under way, unless another one waits for it."""
        with self._lock:
            self._is_newest = False
            if not self._waiting:
                for stop in self._stops:
                    stop()

    @contextmanager
    def waiting(self) -> Iterator[None]:
        """Inside, another one waits for what is computed under this turn."""
        with self._lock:
            self._waiting += 1
        try:
            yield
        finally:
            with self._lock:
                self._waiting -= 1

    @contextmanager
    def stopping(self, stop: Callable[[], None]) -> Iterator[None]:
        """Calls `stop` where the turn is lost inside the block; it is not called after it."""
        with self._lock:
            self._stops.append(stop)
        try:
            yield
        finally:
            with self._lock:
                self._stops.remove(stop)


_TURN: ContextVar[Turn | None] = ContextVar("turn", default=None)


class Turns:
    """The newest turns of each tab. Thread-safe; one for each served dashboard."""

    def __init__(self, kept: int = _KEPT) -> None:
        self._kept = kept
        self._lock = threading.Lock()
        self._turns: OrderedDict[str, list[Turn]] = OrderedDict()

    @contextmanager
    def taking(self, tab: str, number: int, view: tuple[str, str]) -> Iterator[None]:
        """What runs inside asks for `view` (page and query) on behalf of `tab`.

        The places of one view, and the same view asked again, as for another theme, are wanted side by side. Raises
        SupersededError where the tab has asked for a newer view already.
        """
        turn = Turn(number, view)
        token = _TURN.set(turn)
        try:
            for other in self._enter(tab, turn):
                other.give_way()
            require_wanted()
            yield
        finally:
            _TURN.reset(token)
            self._leave(tab, turn)

    def _enter(self, tab: str, turn: Turn) -> list[Turn]:
        """Takes the turn; returns those that lost theirs, which may be this one: requests may overtake each other."""
        with self._lock:
            turns = self._turns.setdefault(tab, [])
            self._turns.move_to_end(tab)
            turns.append(turn)
            newest = max(turns, key=lambda one: one.number)
            while len(self._turns) > self._kept:
                self._turns.popitem(last=False)
            return [one for one in turns if one.view != newest.view]

    def _leave(self, tab: str, turn: Turn) -> None:
        with self._lock:
            turns = self._turns.get(tab, [])
            if turn in turns:
                turns.remove(turn)
            if not turns:
                self._turns.pop(tab, None)


def present_turn() -> Turn | None:
    """The turn under which this thread computes; None for what is never stopped."""
    return _TURN.get()


def require_wanted() -> None:
    """A step at which a computation may be stopped. Raises SupersededError where nobody waits for it any more."""
    turn = _TURN.get()
    if turn is not None and not turn.is_wanted:
        raise SupersededError("A newer question of the same reader has taken the place of this one.")


@contextmanager
def stopping(stop: Callable[[], None]) -> Iterator[None]:
    """Calls `stop` from another thread where nobody waits any more for what is computed inside, and tells it as such."""
    turn = _TURN.get()
    if turn is None:
        yield
        return
    try:
        with turn.stopping(stop):
            yield
    except Exception as fault:
        if not turn.is_wanted:
            raise SupersededError("Stopped for a newer question of the same reader.") from fault
        raise

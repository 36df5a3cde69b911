"""Remembers answers of one snapshot of the warehouse: each is made once for all who ask, and what is kept is bounded by
number and by the memory that it holds, so that a server may run for months."""

import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from concurrent.futures import Future
from contextlib import nullcontext
from typing import Any, Final, Protocol, runtime_checkable

from dashboard.questions.memory.sizes import held_bytes
from dashboard.questions.memory.turns import Turn, present_turn, require_wanted
from shared.errors import SupersededError
from shared.ran import Ran, note, noting

_MOST: Final = 1024
# The share of the bound that answers have beside foundations of any size: they are small, and what many of them lean on (what
# is found over all fits) takes long to find again.
_FOR_ANSWERS: Final = 0.1
# How often one who waits for another's computation looks whether somebody still waits for them.
_LOOK_SECONDS: Final = 0.1
Key = tuple[Hashable, ...]
# Gives what is remembered under a key in one snapshot, or makes it.
Remember = Callable[[tuple[Any, ...], Callable[[], Any]], Any]


def at_once(_key: tuple[Any, ...], make: Callable[[], Any]) -> Any:
    """Makes what is asked for at once and remembers nothing."""
    return make()


@runtime_checkable
class Foundation(Protocol):
    """What answers are made of. It may grow after it was made, so that it tells itself how many bytes it holds; and it stays
    as long as its snapshot, since to make it again costs more than all answers that it crowds out."""

    @property
    def n_bytes(self) -> int:
        """The bytes of memory that the foundation holds now."""


class Memory:
    """Answers by key. Thread-safe. The first part of a key is the snapshot that its answer belongs to.

    most_bytes: of memory for all that is kept, foundations included, though a tenth of it is always left for the answers; most:
    answers.
    """

    def __init__(self, most_bytes: int, most: int = _MOST) -> None:
        self._most = most
        self._most_bytes = most_bytes
        self._lock = threading.Lock()
        self._snapshot: Hashable = None
        self._answers: OrderedDict[Key, tuple[Any, int]] = OrderedDict()
        self._foundations: dict[Key, Foundation] = {}
        # Of all but the foundations.
        self._bytes = 0
        self._running: dict[Key, tuple[Future[Any], Turn | None]] = {}
        # What ran to make each answer, so that who is given it later can tell where it comes from.
        self._ran: dict[Key, frozenset[Ran]] = {}

    def follow(self, snapshot: Hashable) -> None:
        """Forgets the answers of every other snapshot."""
        with self._lock:
            if snapshot != self._snapshot:
                self._snapshot = snapshot
                self._answers.clear()
                self._ran.clear()
                self._foundations.clear()
                self._bytes = 0

    def held(self) -> tuple[int, int]:
        """The bytes that answers hold now, and those of what answers are made of."""
        with self._lock:
            return self._bytes, sum(foundation.n_bytes for foundation in self._foundations.values())

    def once(self, key: Key, make: Callable[[], Any]) -> Any:
        """What is remembered under `key`, or what `make` makes; two who ask at once wait for one computation.

        Raises SupersededError where the one who asks has asked for something newer meanwhile. Where that happens to the one
        who computes, the next of those who wait computes in their place.
        """
        while True:
            require_wanted()
            with self._lock:
                if key in self._answers:
                    self._answers.move_to_end(key)
                    note(self._ran[key])
                    return self._answers[key][0]
                under_way = self._running.get(key)
                if under_way is None:
                    running: Future[Any] = Future()
                    self._running[key] = (running, present_turn())
            if under_way is None:
                return self._made(key, make, running)
            try:
                answer = _waited(*under_way)
            except SupersededError:
                continue
            note(self._ran.get(key, ()))
            return answer

    def _made(self, key: Key, make: Callable[[], Any], running: Future[Any]) -> Any:
        try:
            with noting() as ran:
                made = make()
            self._ran[key] = frozenset(ran)
            running.set_result(made)
        except BaseException as fault:
            running.set_exception(fault)
        is_made = running.exception() is None
        size = _size_of(running.result()) if is_made else 0
        with self._lock:
            del self._running[key]
            if is_made and key[0] == self._snapshot:
                self._answers[key] = (running.result(), size)
                self._bytes += size
                if isinstance(running.result(), Foundation):
                    self._foundations[key] = running.result()
            else:
                self._ran.pop(key, None)
            self._drop(key)
        return running.result()

    def _drop(self, newest: Key) -> None:
        """Drops what was longest unasked until the rest is within bounds. The newest stays, however large it is: a page asks
        for it again with the other theme."""
        founded = sum(foundation.n_bytes for foundation in self._foundations.values())
        most_bytes = max(self._most_bytes - founded, self._most_bytes * _FOR_ANSWERS)
        if len(self._answers) <= self._most and self._bytes <= most_bytes:
            return
        for key in [key for key in self._answers if key not in self._foundations and key != newest]:
            if len(self._answers) <= self._most and self._bytes <= most_bytes:
                break
            self._bytes -= self._answers.pop(key)[1]
            del self._ran[key]


def _size_of(answer: Any) -> int:
    """Bytes that an answer holds; none for a foundation, which is asked each time."""
    return 0 if isinstance(answer, Foundation) else held_bytes(answer)


def _waited(running: Future[Any], turn: Turn | None) -> Any:
    """The answer that another thread computes, which goes on with it while this one waits."""
    with turn.waiting() if turn else nullcontext():
        while True:
            try:
                return running.result(_LOOK_SECONDS)
            except TimeoutError:
                if running.done():
                    raise
                require_wanted()

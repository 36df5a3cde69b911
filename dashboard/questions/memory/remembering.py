"""Remembers answers of one snapshot of the warehouse: each is made once for all who ask, and what is kept is bounded by
number and by size, so that a server may run for months."""

import pickle
import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from concurrent.futures import Future
from contextlib import nullcontext
from typing import Any, Final

from dashboard.questions.memory.rows_on_demand import RowsOnDemand
from dashboard.questions.memory.turns import Turn, present_turn, require_wanted
from shared.errors import SupersededError

_MOST: Final = 1024
# As written by pickle; in memory an answer takes some times more.
# What is read once a snapshot of a million captures is half of it.
_MOST_BYTES: Final = 250_000_000
# Rows by which a long list is measured.
_MEASURED: Final = 500
# How often one who waits for another's computation looks whether somebody still waits for them.
_LOOK_SECONDS: Final = 0.1
Key = tuple[Hashable, ...]
# Gives what is remembered under a key in one snapshot, or makes it.
Remember = Callable[[tuple[Any, ...], Callable[[], Any]], Any]


def at_once(_key: tuple[Any, ...], make: Callable[[], Any]) -> Any:
    """Remembers nothing."""
    return make()


class _Counter:
    """A file that keeps nothing but how much was written."""

    n_bytes = 0

    def write(self, data: Any) -> int:
        size = memoryview(data).nbytes
        self.n_bytes += size
        return size


def size_of(answer: Any) -> int:
    """How large an answer is, in bytes as written by pickle; what cannot be written counts as a hundredth of the whole.

    A long list of rows is measured by some of them, evenly taken: writing all would take longer than the answer.
    """
    held = getattr(answer, "__dict__", {})
    long = {
        name: value for name, value in held.items() if isinstance(value, tuple | RowsOnDemand) and len(value) > 2 * _MEASURED
    }
    if not long:
        return _written(answer)
    size = _written({name: value for name, value in held.items() if name not in long})
    for value in long.values():
        some = value[:: len(value) // _MEASURED]
        size += _written(some) * len(value) // len(some)
    return size


def _written(answer: Any) -> int:
    counter = _Counter()
    try:
        pickle.Pickler(counter, protocol=5).dump(answer)
    except (pickle.PicklingError, TypeError, AttributeError):
        return _MOST_BYTES // 100
    return counter.n_bytes


class Memory:
    """Answers by key. Thread-safe. The first part of a key is the snapshot that its answer belongs to."""

    def __init__(self, most: int = _MOST, most_bytes: int = _MOST_BYTES) -> None:
        self._most = most
        self._most_bytes = most_bytes
        self._lock = threading.Lock()
        self._snapshot: Hashable = None
        self._answers: OrderedDict[Key, tuple[Any, int]] = OrderedDict()
        self._bytes = 0
        self._running: dict[Key, tuple[Future[Any], Turn | None]] = {}

    def follow(self, snapshot: Hashable) -> None:
        """Forgets the answers of every other snapshot."""
        with self._lock:
            if snapshot != self._snapshot:
                self._snapshot = snapshot
                self._answers.clear()
                self._bytes = 0

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
                    return self._answers[key][0]
                found = self._running.get(key)
                if found is None:
                    running: Future[Any] = Future()
                    self._running[key] = (running, present_turn())
            if found is None:
                return self._made(key, make, running)
            try:
                return _waited(*found)
            except SupersededError:
                continue

    def _made(self, key: Key, make: Callable[[], Any], running: Future[Any]) -> Any:
        try:
            running.set_result(make())
        except BaseException as fault:
            running.set_exception(fault)
        size = size_of(running.result()) if running.exception() is None else 0
        with self._lock:
            del self._running[key]
            if running.exception() is None and key[0] == self._snapshot:
                self._answers[key] = (running.result(), size)
                self._bytes += size
            # The newest stays, however large it is: a page asks for it again with the other theme.
            while len(self._answers) > self._most or (self._bytes > self._most_bytes and len(self._answers) > 1):
                _, (_, dropped) = self._answers.popitem(last=False)
                self._bytes -= dropped
        return running.result()


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

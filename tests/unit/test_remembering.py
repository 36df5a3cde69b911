"""What is remembered: made once, bounded by number and size, of one snapshot, and taken over where its maker is stopped."""

import threading
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest

from dashboard.questions.memory.remembering import Memory
from dashboard.questions.memory.sizes import held_bytes
from dashboard.questions.memory.turns import Turns, require_wanted
from shared.errors import SupersededError


def made(memory: Memory, key: tuple[Any, ...], value: Any) -> bool:
    """Whether the value had to be made."""
    calls: list[Any] = []
    memory.once(key, lambda: calls.append(key) or value)
    return bool(calls)


def memory(most_bytes: int = 1_000_000, **bounds: int) -> Memory:
    memory = Memory(most_bytes, **bounds)
    memory.follow("now")
    return memory


def test_an_answer_is_made_once_and_the_one_longest_unasked_goes_first() -> None:
    kept = memory(most=2)
    had_to_be_made = [made(kept, ("now", name), name) for name in ("a", "b", "a", "c", "a", "b")]
    assert had_to_be_made == [True, True, False, True, False, True]


def test_large_answers_are_kept_by_their_size() -> None:
    kept = memory(most_bytes=10_000)
    assert made(kept, ("now", "small"), b"x" * 3_000)
    assert made(kept, ("now", "large"), b"x" * 9_000)
    assert made(kept, ("now", "small"), b"x" * 3_000)
    assert made(kept, ("now", "larger than all"), b"x" * 50_000)
    assert not made(kept, ("now", "larger than all"), b"")
    assert kept._bytes == held_bytes(b"x" * 50_000)


def test_an_answer_of_an_older_snapshot_is_told_and_not_kept() -> None:
    kept = memory()
    assert made(kept, ("now", "a"), 1)
    kept.follow("later")
    assert kept.once(("now", "b"), lambda: 2) == 2
    assert made(kept, ("now", "b"), 2) and made(kept, ("later", "a"), 1)
    assert not made(kept, ("later", "a"), 1)


def test_a_fault_is_not_remembered_nor_is_a_timeout_of_the_computation_taken_for_waiting() -> None:
    kept = memory()

    def fail() -> None:
        raise TimeoutError("the computation's own")

    for _ in range(2):
        with pytest.raises(TimeoutError, match="the computation's own"):
            kept.once(("now", "a"), fail)
    assert not kept._running


class Growing:
    """What answers are made of; it tells what it holds."""

    def __init__(self, n_bytes: int) -> None:
        self.n_bytes = n_bytes


def test_what_answers_are_made_of_stays_and_takes_its_room_as_it_grows() -> None:
    kept, study = memory(most_bytes=10_000), Growing(1_000)
    kept.once(("now", "study"), lambda: study)
    assert made(kept, ("now", "a"), b"x" * 3_000)
    study.n_bytes = 5_000
    assert made(kept, ("now", "b"), b"x" * 3_000)
    assert not made(kept, ("now", "study"), None)
    assert not made(kept, ("now", "b"), None)
    assert made(kept, ("now", "a"), b"x" * 3_000)
    study.n_bytes = 50_000
    assert made(kept, ("now", "c"), b"x")
    assert not made(kept, ("now", "study"), None) and not made(kept, ("now", "c"), None)
    # Small answers have their tenth beside a foundation beyond the bound: what all lean on is not made over and over.
    assert made(kept, ("now", "d"), b"x" * 300)
    assert not made(kept, ("now", "c"), None) and not made(kept, ("now", "d"), None)
    assert made(kept, ("now", "e"), b"x" * 700)
    assert made(kept, ("now", "d"), None)
    kept.follow("later")
    assert made(kept, ("later", "study"), b"") and kept._bytes == held_bytes(b"")


def test_one_who_waits_computes_in_the_place_of_one_who_was_stopped() -> None:
    kept, turns, under_way, go_on = memory(), Turns(), threading.Event(), threading.Event()

    def slow() -> str:
        under_way.set()
        go_on.wait(20)
        require_wanted()
        return "by the first"

    def first() -> Any:
        with turns.taking("a", 1, ("/", "?side=left")):
            return kept.once(("now", "left"), slow)

    with ThreadPoolExecutor(2) as pool:
        asked = pool.submit(first)
        under_way.wait(20)
        with turns.taking("a", 2, ("/", "?side=right")):
            go_on.set()
            with pytest.raises(SupersededError):
                asked.result(20)
        assert kept.once(("now", "left"), lambda: "by the second") == "by the second"


def test_a_stopped_reader_does_not_stop_another_who_waits_for_the_same() -> None:
    kept, turns, under_way, go_on = memory(), Turns(), threading.Event(), threading.Event()

    def slow() -> str:
        under_way.set()
        go_on.wait(20)
        require_wanted()
        return "by the first"

    def ask(tab: str) -> Any:
        with turns.taking(tab, 1, ("/", "?side=left")):
            return kept.once(("now", "left"), slow)

    with ThreadPoolExecutor(2) as pool:
        asked = pool.submit(ask, "a")
        under_way.wait(20)
        waits = pool.submit(ask, "b")
        (_, turn) = kept._running[("now", "left")]
        assert turn is not None
        while not turn._waiting:
            threading.Event().wait(0.001)
        with turns.taking("a", 2, ("/", "?side=right")):
            go_on.set()
            assert asked.result(20) == waits.result(20) == "by the first"

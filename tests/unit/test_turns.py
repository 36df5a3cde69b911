"""Turns: the newest view of a tab is computed, an older one stops at its next step, and no tab stops another."""

import threading
from collections.abc import Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import ExitStack, contextmanager

import pytest

from dashboard.questions.memory.turns import Turns, present_turn, require_wanted
from shared.errors import SupersededError

LEFT, RIGHT = ("/supports", "?side=left"), ("/supports", "?side=right")


class Asked:
    """A question under way in a thread of its own, held until it is told to take its next step."""

    def __init__(self, pool: ThreadPoolExecutor, turns: Turns, tab: str, number: int, view: tuple[str, str]) -> None:
        self.started, self._step = threading.Event(), threading.Event()
        self.stopped = threading.Event()
        self.done: Future[str] = pool.submit(self._ask, turns, tab, number, view)
        self.started.wait(20)

    def _ask(self, turns: Turns, tab: str, number: int, view: tuple[str, str]) -> str:
        try:
            with turns.taking(tab, number, view), ExitStack() as stack:
                turn = present_turn()
                assert turn is not None
                stack.enter_context(turn.stopping(self.stopped.set))
                self.turn = turn
                self.started.set()
                self._step.wait(20)
                require_wanted()
                return "answered"
        except SupersededError:
            self.started.set()
            return "stopped"

    def step(self) -> str:
        self._step.set()
        return self.done.result(20)


@pytest.fixture
def pool() -> Iterator[ThreadPoolExecutor]:
    with ThreadPoolExecutor(4) as pool:
        yield pool


@contextmanager
def held(*asked: Asked) -> Iterator[None]:
    """Lets every thread go, whatever the test finds."""
    try:
        yield
    finally:
        for one in asked:
            one.step()


def test_a_newer_view_of_a_tab_stops_the_older_one(pool: ThreadPoolExecutor) -> None:
    turns = Turns()
    older = Asked(pool, turns, "a", 1, LEFT)
    newer = Asked(pool, turns, "a", 2, RIGHT)
    assert older.stopped.is_set() and not newer.stopped.is_set()
    assert (older.step(), newer.step()) == ("stopped", "answered")


def test_leaving_for_another_page_stops_what_the_first_one_asked(pool: ThreadPoolExecutor) -> None:
    turns = Turns()
    older = Asked(pool, turns, "a", 1, LEFT)
    newer = Asked(pool, turns, "a", 2, ("/data", LEFT[1]))
    assert (older.step(), newer.step()) == ("stopped", "answered")


def test_two_tabs_never_stop_each_other(pool: ThreadPoolExecutor) -> None:
    turns = Turns()
    one, other = Asked(pool, turns, "a", 1, LEFT), Asked(pool, turns, "b", 2, RIGHT)
    assert (one.step(), other.step()) == ("answered", "answered")


def test_places_of_one_view_are_wanted_side_by_side(pool: ThreadPoolExecutor) -> None:
    turns = Turns()
    first, second = Asked(pool, turns, "a", 1, LEFT), Asked(pool, turns, "a", 2, LEFT)
    assert (first.step(), second.step()) == ("answered", "answered")


def test_requests_that_overtake_each_other_do_not_stop_the_newer_one(pool: ThreadPoolExecutor) -> None:
    turns = Turns()
    newer = Asked(pool, turns, "a", 7, RIGHT)
    older = Asked(pool, turns, "a", 6, LEFT)
    assert (older.step(), newer.step()) == ("stopped", "answered")


def test_what_another_one_waits_for_goes_on(pool: ThreadPoolExecutor) -> None:
    turns = Turns()
    older = Asked(pool, turns, "a", 1, LEFT)
    with older.turn.waiting():
        newer = Asked(pool, turns, "a", 2, RIGHT)
        assert not older.stopped.is_set()
        assert (older.step(), newer.step()) == ("answered", "answered")


def test_turns_are_forgotten_when_they_end_and_bounded_while_they_last(pool: ThreadPoolExecutor) -> None:
    turns = Turns(kept=1)
    first, second = Asked(pool, turns, "a", 1, LEFT), Asked(pool, turns, "b", 1, LEFT)
    with held(first, second):
        assert list(turns._turns) == ["b"]
    assert not turns._turns


def test_without_a_turn_everything_is_wanted() -> None:
    assert present_turn() is None
    require_wanted()

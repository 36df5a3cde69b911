"""How often a password may be tried: counted before it is checked, by browser, name, address, and never so that a name is
locked."""

import threading
from concurrent.futures import ThreadPoolExecutor

import pytest

from dashboard.accounts import attempts as module
from dashboard.accounts.attempts import (
    ADDRESS_FREE,
    FIRST_WAIT_SECONDS,
    FREE,
    LONGEST_WAIT_SECONDS,
    NAME_EVERY_SECONDS,
    NAME_FREE,
    Attempts,
    Trier,
    network_of,
    told,
)

ADA = Trier("Ada", "192.0.2.1")
AT_HOME = Trier("ada", "203.0.113.9", device="her laptop")


class Clock:
    now = 0.0

    def __call__(self) -> float:
        return self.now


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def attempts(clock: Clock) -> Attempts:
    return Attempts(clock)


def address(number: int) -> str:
    """One of very many addresses."""
    return f"10.{number // 65536}.{number // 256 % 256}.{number % 256}"


def test_an_address_must_wait_after_a_few_failures_and_longer_each_time(attempts: Attempts, clock: Clock) -> None:
    waits = []
    for _ in range(FREE + 6):
        clock.now += waits[-1] if waits else 0
        assert attempts.reserve(ADA) == 0
        waits.append(attempts.wait_seconds(ADA))
    assert waits[: FREE - 1] == [0] * (FREE - 1)
    assert waits[FREE - 1 : FREE + 2] == [FIRST_WAIT_SECONDS, 2 * FIRST_WAIT_SECONDS, 4 * FIRST_WAIT_SECONDS]
    assert waits[-1] == LONGEST_WAIT_SECONDS
    assert attempts.wait_seconds(Trier("ben", ADA.address)) == 0
    clock.now += waits[-1]
    assert attempts.reserve(ADA) == 0
    attempts.succeeded(ADA)
    assert attempts.wait_seconds(ADA) == 0


@pytest.mark.parametrize("kind", ["password", "code"])
def test_tries_at_the_same_moment_are_counted_before_any_is_checked(attempts: Attempts, kind: str) -> None:
    """On the code before, 40 parallel tries let eight guesses through: each asked, and counted after it had been checked."""
    together, trier = threading.Barrier(40), Trier("ada", "192.0.2.1", kind="code" if kind == "code" else "password")

    def attempt(_: int) -> float:
        together.wait()
        return attempts.reserve(trier)

    with ThreadPoolExecutor(40) as threads:
        waits = list(threads.map(attempt, range(40)))
    assert waits.count(0) == FREE


def test_an_address_that_tries_many_names_must_wait(attempts: Attempts) -> None:
    for place in range(ADDRESS_FREE):
        assert attempts.reserve(Trier(f"name{place}", "192.0.2.1")) == 0
    assert attempts.reserve(Trier("another", "192.0.2.1")) == FIRST_WAIT_SECONDS
    assert attempts.reserve(Trier("another", "192.0.2.2")) == 0


def test_right_passwords_use_up_no_tries_of_a_shared_address(attempts: Attempts) -> None:
    for place in range(3 * ADDRESS_FREE):
        trier = Trier(f"name{place}", "192.0.2.1")
        assert attempts.reserve(trier) == 0
        attempts.succeeded(trier)


def test_addresses_of_one_ipv6_network_count_as_one(attempts: Attempts) -> None:
    for place in range(FREE):
        assert attempts.reserve(Trier("ada", f"2001:db8:0:7::{place:x}")) == 0
    assert attempts.reserve(Trier("ada", "2001:db8:0:7:ffff::1")) > 0
    assert attempts.reserve(Trier("ada", "2001:db8:0:8::1")) == 0
    assert network_of("::ffff:192.0.2.7") == network_of("192.0.2.7")
    assert network_of("no address") == "no address"


def test_nobody_keeps_a_known_browser_out(attempts: Attempts, clock: Clock) -> None:
    """On the code before, five wrong tries of anyone locked a name out, from everywhere."""
    for number in range(10 * NAME_FREE):
        attempts.reserve(Trier("ada", address(number)))
        attempts.reserve(Trier("ada", AT_HOME.address))
    assert attempts.reserve(AT_HOME) == 0
    for _ in range(FREE - 1):
        assert attempts.reserve(AT_HOME) == 0
    assert attempts.reserve(AT_HOME) == FIRST_WAIT_SECONDS  # a stolen laptop guesses no faster
    assert attempts.reserve(Trier("ada", AT_HOME.address, device="her phone")) == 0


def test_a_few_wrong_tries_elsewhere_delay_no_unknown_browser(attempts: Attempts) -> None:
    for _ in range(2 * FREE):
        attempts.reserve(ADA)
    assert attempts.reserve(Trier("ada", "203.0.113.9")) == 0


def test_many_addresses_guess_a_name_at_a_slow_pace_only(attempts: Attempts, clock: Clock) -> None:
    """A hundred addresses that never tire, for three hours: no more than the pace, but for one try each in the longest wait."""
    allowed = 0
    for _ in range(3 * 3600 // 10):
        clock.now += 10
        allowed += sum(attempts.reserve(Trier("ada", address(number))) == 0 for number in range(100))
    pace = NAME_FREE + 3 * 3600 / NAME_EVERY_SECONDS
    turns = 100 * 3 * 3600 / LONGEST_WAIT_SECONDS
    assert allowed <= pace + turns


def test_a_stranger_waits_for_a_bounded_time_whoever_attacks(attempts: Attempts, clock: Clock) -> None:
    """Two thousand addresses try one name without pause; who comes from elsewhere with the right password is let try in
    time."""
    numbers = iter(range(100_000))

    def attack() -> None:
        for _ in range(200):
            attempts.reserve(Trier("ada", address(next(numbers))))

    for _ in range(10):
        attack()
        clock.now += 10
    stranger = Trier("ada", "203.0.113.9")
    wait = attempts.reserve(stranger)
    assert 0 < wait <= LONGEST_WAIT_SECONDS
    while wait:
        assert wait <= LONGEST_WAIT_SECONDS
        step = min(wait, 60)
        clock.now += step
        wait -= step
        attack()
    assert attempts.reserve(stranger) == 0
    assert clock.now <= 100 + LONGEST_WAIT_SECONDS + 60


def test_codes_are_counted_by_name_wherever_they_come_from(attempts: Attempts) -> None:
    """Whoever tries codes has the password: a thousand addresses have no more tries than one."""
    allowed = sum(attempts.reserve(Trier("ada", address(number), kind="code")) == 0 for number in range(100))
    assert allowed == FREE
    assert attempts.reserve(Trier("ada", "192.0.2.1", device="her laptop", kind="code")) == 0


def test_the_counters_are_bounded(attempts: Attempts, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "KEPT", 50)
    for number in range(400):
        attempts.reserve(Trier(f"name{number}", address(number)))
        attempts.reserve(Trier("ada", address(number)))
    for kept in (attempts._failures, attempts._due, attempts._turns):
        assert len(kept) <= 50


def test_failures_are_forgotten_after_a_while(attempts: Attempts, clock: Clock) -> None:
    for _ in range(FREE):
        attempts.reserve(ADA)
    clock.now += module.FORGOTTEN_SECONDS + 1
    for _ in range(FREE):
        assert attempts.reserve(ADA) == 0


@pytest.mark.parametrize(("seconds", "words"), [(0.2, "1 seconds"), (30, "30 seconds"), (91, "2 minutes"), (900, "15 minutes")])
def test_a_wait_is_told(seconds: float, words: str) -> None:
    assert told(seconds) == words

"""The minimal important change: recovered where it is known, by hand, and refused in words where it cannot be told."""

from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray

from shared.errors import NotEstimableError, StatisticsError, TooFewError
from shared.statistics.important_change import ImportantChange, Needed, minimal_important_change

NEEDED = Needed(riders=50, riders_each=15, correlation=0.3)
Changes = NDArray[np.float64]


def told(change: Changes, is_better: NDArray[np.bool_], rider: NDArray[np.int64] | None = None) -> ImportantChange:
    riders = np.arange(len(change)) if rider is None else rider
    return minimal_important_change(change, is_better, riders, 0.95, NEEDED)


def studio(seed: int, mean: float, limit: float = 2.0, n: int = 300) -> tuple[Changes, NDArray[np.bool_]]:
    """Whole points of 0 to 10 rated with an error of half a point at both ends; each rider has a limit of their own, and says
    how the change feels with an error of 0.7 points."""
    rng = np.random.default_rng(seed)
    felt, before = rng.normal(mean, 1.6, n), rng.normal(4.5, 1.2, n)
    is_better = felt + rng.normal(0, 0.7, n) > rng.normal(limit, 0.3, n)
    rated = [np.clip(np.round(level + rng.normal(0, 0.5, n)), 0, 10) for level in (before, before + felt)]
    return rated[1] - rated[0], is_better


@pytest.mark.parametrize(("share", "mean"), [(0.3, 1.05), (0.4, 1.55), (0.5, 2.0), (0.6, 2.45), (0.7, 2.95)])
def test_the_limit_is_recovered_whatever_share_found_it_better(share: float, mean: float) -> None:
    """A true limit of 2 points; 60 studios of 300 riders: within 0.3 points on average, and the interval holds it."""
    found = [told(*studio(seed, mean)) for seed in range(60)]
    assert np.mean([one.share for one in found]) == pytest.approx(share, abs=0.03)
    assert abs(np.mean([one.points for one in found]) - 2) < 0.3
    assert sum(one.low <= 2 <= one.high for one in found) >= 54
    # Before the adjustment the share pulls it away, down where few found it better and up where many did.
    adjusted, plain = (np.mean([getattr(one, name) for one in found]) for name in ("points", "unadjusted_points"))
    assert abs(adjusted - 2) < abs(plain - 2) or share == 0.5


def test_with_half_of_them_better_it_is_the_point_of_equal_chances() -> None:
    """Changes of 1 and 3: 10 of 40 and 30 of 40 found it better, so that at 2 the chance is one half."""
    change = np.repeat([1.0, 3.0], 40)
    is_better = np.concatenate([np.arange(40) < 10, np.arange(40) < 30])
    found = told(change, is_better)
    assert (found.points, found.unadjusted_points, found.share) == (pytest.approx(2), pytest.approx(2), 0.5)
    assert found.correlation == pytest.approx(0.5)


def test_the_adjustment_is_the_published_one() -> None:
    """Changes of 1 and 3: 5 of 40 and 25 of 40 found it better. Log odds -ln 7 and ln(5/3) meet those of all, ln(3/5), at
    1 + 2 (ln 7 - ln(5/3)) / (ln 7 + ln(5/3)); correlation 40 (25 - 5) / 80 / sqrt(30 x 50) (Terluin et al. 2017)."""
    change = np.repeat([1.0, 3.0], 40)
    is_better = np.concatenate([np.arange(40) < 5, np.arange(40) < 25])
    found = told(change, is_better)
    at = 1 + 2 * (np.log(7) - np.log(5 / 3)) / (np.log(7) + np.log(5 / 3))
    correlation = 20 / (30 * 50) ** 0.5
    assert found.unadjusted_points == pytest.approx(at, abs=1e-6)
    assert found.correlation == pytest.approx(correlation)
    assert found.points == pytest.approx(at - (0.090 + 0.103 * correlation) * 1.0 * np.log(3 / 5), abs=1e-6)
    # The share is below one half, which pulls upward: so far may the limit lie if what riders say is less exact.
    assert found.high - found.points > found.points - found.low


def test_rows_told_twice_of_one_rider_make_it_no_surer() -> None:
    change, is_better = studio(1, 2.0)
    once, twice = told(change, is_better), told(np.repeat(change, 2), np.repeat(is_better, 2), np.repeat(np.arange(300), 2))
    assert twice.points == pytest.approx(once.points) and twice.n_riders == 300
    assert (twice.low, twice.high) == (pytest.approx(once.low), pytest.approx(once.high))


def _few() -> ImportantChange:
    return told(*(column[:40] for column in studio(1, 2.0)))


def _few_better() -> ImportantChange:
    return told(np.arange(60.0), np.arange(60) > 50)


def _few_of_one_rider() -> ImportantChange:
    change, is_better = studio(1, 2.0, n=100)
    return told(change, is_better, np.where(is_better, 0, np.arange(100)))


def _alike() -> ImportantChange:
    return told(np.full(80, 2.0), np.arange(80) < 40)


def _loose() -> ImportantChange:
    rng = np.random.default_rng(5)
    return told(rng.normal(1, 1, 200), rng.random(200) < 0.4)


def _apart() -> ImportantChange:
    return told(np.repeat([0.0, 3.0], 40), np.arange(80) >= 40)


def _no_change() -> ImportantChange:
    """Whoever got no worse found it better."""
    return told(*studio(2, -1.0, limit=-1.0))


@pytest.mark.parametrize(
    ("ask", "kind", "words"),
    [
        (_few, TooFewError, "Not enough yet: 40 riders rated again and asked how much better it is, and 50 are needed."),
        (_few_better, TooFewError, "Not enough yet: 9 riders found it better and 51 did not, and 15 of each are needed."),
        (_few_of_one_rider, TooFewError, "Not enough yet: 1 rider found it better and "),
        (_alike, NotEstimableError, "Cannot be told, since every change is the same."),
        (_loose, NotEstimableError, "Cannot be told, since what riders say goes with the change too loosely (correlation "),
        (_apart, NotEstimableError, "Cannot be told, since the changes of those who found it better and of the others do not"),
        (_no_change, NotEstimableError, "is not told apart from no change at all."),
    ],
)
def test_what_cannot_be_told_is_said_in_words(
    ask: Callable[[], ImportantChange], kind: type[StatisticsError], words: str
) -> None:
    with pytest.raises(kind) as refused:
        ask()
    assert words in str(refused.value)

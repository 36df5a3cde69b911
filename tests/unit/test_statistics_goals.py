"""A goal is judged by the limits of its figure's process: by hand, by the published factor, and rarely wrongly."""

from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray

from shared.errors import TooFewError
from shared.statistics.change_point import largest_step
from shared.statistics.goals import neighbours_alike, process_of, reach, share_error, verdict

Floats = NDArray[np.float64]
# Ranges 2, 2, 2 ... : 2 / 1.128; mean 11, and a standard deviation of 1.04.
SAW = np.array([10.0, 12.0] * 6 + [11.0])


def test_limits_are_three_of_the_wider_spread_about_the_mean() -> None:
    process = process_of(SAW, 0.0, 6)
    by_neighbours = (11 * 2 + 1) / 12 / 1.128
    assert process.centre == pytest.approx(11)
    assert (process.low, process.high) == pytest.approx((11 - 3 * by_neighbours, 11 + 3 * by_neighbours), abs=0.01)
    # Slow waves have small ranges: their standard deviation is the wider.
    waves = np.repeat([10.0, 12.0], 7)
    slow = process_of(waves, 0.0, 6)
    assert slow.high == pytest.approx(11 + reach(slow.n_like) * waves.std(ddof=1)) and slow.n_like < 7
    # And so is what is known of the number of rows alone.
    assert process_of(SAW, 4.0, 6).high == pytest.approx(11 + 3 * 4.0, abs=0.05)


def test_no_range_reaches_over_a_gap_and_a_gap_is_no_period() -> None:
    stairs = np.array([1.0, 1.2, 1.0, np.nan, 9.0, 9.2, 9.0, 9.2])
    process = process_of(stairs, 0.0, 6)
    assert process.n == 7 and process.centre == pytest.approx(np.nanmean(stairs))
    with pytest.raises(TooFewError, match="7 periods since it last moved, of the 8"):
        process_of(stairs, 0.0, 8)
    with pytest.raises(TooFewError, match="1 period"):
        process_of(np.array([1.0]), 0.0, 1)


@pytest.mark.parametrize(("n", "factor"), [(13, 3.0), (60, 3.0)])
def test_from_thirteen_periods_on_the_limits_are_those_of_a_control_chart(n: int, factor: float) -> None:
    assert reach(n) == factor


def test_limits_of_few_periods_hold_what_is_to_come() -> None:
    """By drawing: of 40,000 normal samples of 8, in 97.5 % the mean less the reach lies below 95 % of all to come."""
    sample = np.random.default_rng(2).normal(size=(40_000, 8))
    low = sample.mean(axis=1) - reach(8) * sample.std(axis=1, ddof=1)
    assert np.mean(low < -1.6449) == pytest.approx(0.975, abs=0.003)
    assert reach(6) > reach(8) > reach(12) > 3


@pytest.mark.parametrize(
    ("goal", "better", "told"),
    [
        (14.0, 1, "by chance now and then"),
        (17.0, 1, "misses it"),
        (5.0, 1, "reaches it"),
        (17.0, -1, "reaches it"),
        (5.0, -1, "misses it"),
        (8.0, -1, "by chance now and then"),
    ],
)
def test_a_goal_beyond_the_limits_is_reached_or_missed_and_one_between_them_by_chance(
    goal: float, better: int, told: str
) -> None:
    assert verdict(process_of(SAW, 0.0, 6), goal, better) == told


def test_a_share_of_none_is_not_sure() -> None:
    assert share_error(0, 96, 20, 1.0) == pytest.approx((0.02 * 0.98 / 20) ** 0.5)
    assert share_error(48, 96, 20, 2.0) == pytest.approx((0.25 * 2 / 20) ** 0.5)


def alike(rng: np.random.Generator, n: int, by: float) -> Floats:
    """Normal, each so much like the one before."""
    values = rng.normal(size=n)
    for at in range(1, n):
        values[at] = by * values[at - 1] + (1 - by**2) ** 0.5 * values[at]
    return values


def test_how_alike_neighbours_are_by_hand() -> None:
    """1, 2, 3, 4, 5, 6, 7, 8, 9: off the mean −4 … 4, whose products of neighbours add up to 40 of 60: 2/3; corrected by
    (1 + 8/3) / 9, drawn towards 0 by (1/9) / (1/9 + 1/9)."""
    assert neighbours_alike(np.arange(1.0, 10.0)) == pytest.approx((2 / 3 + (1 + 8 / 3) / 9) / 2)
    # Periods that take turns are not alike; nor are those that are all the same; over a gap none are neighbours.
    assert neighbours_alike(SAW) == 0.0 == neighbours_alike(np.full(9, 3.0))
    assert neighbours_alike(np.array([1.0, np.nan, 1.0, np.nan, 5.0, np.nan, 5.0])) == pytest.approx(1 / 4 / (1 + 9 / 4))


def test_alike_periods_widen_the_limits_as_fewer_would() -> None:
    slope = np.arange(1.0, 10.0)
    found = neighbours_alike(slope)
    process = process_of(slope, 0.0, 6)
    assert process.n == 9 and process.n_like == pytest.approx(9 * (1 - found) / (1 + found))
    assert process.high - process.centre == pytest.approx(reach(process.n_like) * slope.std(ddof=1))


# What draws n periods, and the value that one period in twenty falls short of.
DRAWS: dict[str, tuple[Callable[[np.random.Generator, int], Floats], float]] = {
    "normal": (lambda rng, n: rng.normal(size=n), -1.645),
    "heavy tails": (lambda rng, n: rng.standard_t(4, n), -2.132),
    "neighbours alike": (lambda rng, n: alike(rng, n, 0.3), -1.645),
    "neighbours much alike": (lambda rng, n: alike(rng, n, 0.5), -1.645),
}


@pytest.mark.parametrize("name", list(DRAWS))
@pytest.mark.parametrize("n", [6, 12, 24])
def test_a_process_that_falls_short_once_in_twenty_is_rarely_said_to_reach_it(name: str, n: int) -> None:
    """The goal at which a verdict is wrong most easily, as a least and, turned round, as a most; 400 processes."""
    draw, goal = DRAWS[name]
    rng = np.random.default_rng([17, n])
    processes = [process_of(draw(rng, n), 0.0, 6) for _ in range(400)]
    wrong = [verdict(one, goal, 1) == "reaches it" for one in processes]
    assert np.mean(wrong) < 0.05
    assert not any(verdict(one, goal, 1) == "misses it" for one in processes)
    # A goal six standard deviations off is mostly found to be reached, and from the other side to be missed.
    if name == "normal":
        least = {6: 0.6, 12: 0.95, 24: 0.99}[n]
        assert np.mean([verdict(one, -6.0, 1) == "reaches it" for one in processes]) > least
        assert np.mean([verdict(one, 6.0, 1) == "misses it" for one in processes]) > least


def after_a_move(rng: np.random.Generator, by: float) -> tuple[float, bool]:
    """24 months of 40 fits, a share of 0.6 that moves `by` so much at some date: which share of the months to come lies below
    the lower limit of the process since the step that was found, or of all months; and whether one was found."""
    month = np.repeat(np.arange(24), 40)
    truth = np.where(month < rng.integers(8, 18), 0.6, 0.6 + by)
    hit = (rng.random(len(month)) < truth).astype(float)
    step = largest_step(hit, month, np.arange(len(month)), 6, is_share=True, wanted=0.05)
    is_found = step.p_value < 0.05
    own = hit[month >= (step.first if is_found else 0)]
    process = process_of(own.reshape(-1, 40).mean(axis=1), share_error(float(own.sum()), float(len(own)), 40.0, 1.0), 2)
    return float(np.mean(rng.binomial(40, 0.6 + by, 2_000) / 40 < process.low)), is_found


@pytest.mark.parametrize(("by", "least_found", "most_found"), [(0.0, 0.0, 0.1), (-0.15, 0.5, 1.0), (-0.3, 0.99, 1.0)])
def test_a_goal_at_the_lower_limit_is_reached_after_a_move_too(by: float, least_found: float, most_found: float) -> None:
    """Said to be reached is what lies below the limit; of the months to come hardly any falls short of it."""
    rng = np.random.default_rng(5)
    made = [after_a_move(rng, by) for _ in range(100)]
    assert np.mean([below > 0.05 for below, _ in made]) < 0.05
    assert least_found <= np.mean([is_found for _, is_found in made]) <= most_found

"""The effect by the draw alone, against its definition and another program; the interval that may be looked at at any time."""

from itertools import combinations

import numpy as np
import pytest
from scipy import stats

from shared.errors import TooFewError
from shared.statistics.always_valid import always_valid
from shared.statistics.drawn import DRAWN_ORDERS, drawn_effect

# One block of ten, so that all orders can be gone through by hand: the second arm first.
OUTCOME = np.array([3.1, 2.4, 4.0, 3.6, 2.9, 1.0, 1.9, 0.4, 2.2, 1.3])
SECOND = np.array([True] * 5 + [False] * 5)
ONE_BLOCK = np.zeros(10, dtype=np.int64)


def p_of_effect(effect: float) -> tuple[float, float]:
    """Both one-sided p-values of an effect in one block, as they are defined: the share of orders that are as far off."""
    rest = OUTCOME - effect * SECOND
    seen = rest[SECOND].mean() - rest[~SECOND].mean()
    others = []
    for chosen in combinations(range(10), 5):
        is_second = np.isin(np.arange(10), chosen)
        others.append(rest[is_second].mean() - rest[~is_second].mean())
    return float(np.mean(np.array(others) >= seen - 1e-12)), float(np.mean(np.array(others) <= seen + 1e-12))


def test_within_the_interval_no_effect_is_refused_and_beyond_it_every_one_is() -> None:
    found = drawn_effect(OUTCOME, SECOND, ONE_BLOCK, 0.95)
    assert (found.n_orders, found.is_exact, found.low_error, found.high_error) == (252, True, 0, 0)
    assert found.estimate == pytest.approx(3.2 - 1.36)
    # An end is the first effect that is refused no more: half of 5 % on each side.
    for end, way, side in ((found.low, 1, 0), (found.high, -1, 1)):
        assert p_of_effect(end - way * 1e-6)[side] <= 0.025
        assert p_of_effect(end + way * 1e-6)[side] > 0.025


def test_the_p_value_is_that_of_another_program() -> None:
    other = stats.permutation_test(
        (OUTCOME[SECOND], OUTCOME[~SECOND]),
        lambda a, b: a.mean() - b.mean(),
        permutation_type="independent",
        n_resamples=np.inf,
    )
    assert drawn_effect(OUTCOME, SECOND, ONE_BLOCK, 0.95).p_value == pytest.approx(other.pvalue)


def drawn_blocks(n_blocks: int, effect: float, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    block = np.repeat(np.arange(n_blocks), 4)
    second = np.concatenate([rng.permuted([True, True, False, False]) for _ in range(n_blocks)])
    return rng.normal(size=4 * n_blocks) + 2.0 * rng.normal(size=n_blocks)[block] + effect * second, second, block


def test_orders_keep_within_their_blocks() -> None:
    """Two blocks of two, far apart: across them three of four values of one arm could be the higher ones, within them never."""
    outcome, block = np.array([1.0, 2.0, 101.0, 103.0, 201.0, 202.5]), np.array([0, 0, 1, 1, 2, 2])
    found = drawn_effect(outcome, np.array([False, True] * 3), block, 0.5)
    assert (found.n_orders, found.estimate) == (8, pytest.approx(1.5))
    assert found.p_value == 2 / 8


def test_blocks_of_one_arm_tell_nothing_and_a_shift_of_a_block_changes_nothing() -> None:
    outcome, second, block = drawn_blocks(6, 1.0, np.random.default_rng(2))
    plain = drawn_effect(outcome, second, block, 0.95)
    alone = drawn_effect(np.append(outcome, 50.0), np.append(second, True), np.append(block, 99), 0.95)
    assert (alone.estimate, alone.low, alone.n_second) == (plain.estimate, plain.low, plain.n_second)
    shifted = drawn_effect(outcome + 7.0 * block, second, block, 0.95)
    assert (shifted.estimate, shifted.low) == (pytest.approx(plain.estimate), pytest.approx(plain.low))


def test_many_orders_are_drawn_with_a_told_error_and_agree_with_all_of_them() -> None:
    outcome, second, block = drawn_blocks(5, 1.0, np.random.default_rng(3))
    all_orders = drawn_effect(outcome, second, block, 0.95)
    assert (all_orders.n_orders, all_orders.is_exact) == (6**5, True)
    many = drawn_effect(*drawn_blocks(30, 1.0, np.random.default_rng(4)), 0.95)
    assert (many.n_orders, many.is_exact) == (DRAWN_ORDERS + 1, False)
    assert 0 < many.low_error < 0.05 * (many.high - many.low)


def test_so_few_orders_give_no_interval() -> None:
    with pytest.raises(TooFewError, match="Only 6 orders"):
        drawn_effect(np.arange(4.0), np.array([True, True, False, False]), np.zeros(4, dtype=np.int64), 0.95)
    with pytest.raises(TooFewError, match="No block"):
        drawn_effect(np.arange(2.0), np.array([True, False]), np.array([0, 1]), 0.95)


def test_the_interval_holds_the_effect_in_nineteen_of_twenty_comparisons() -> None:
    """40 draws each, 400 comparisons of heavy-tailed noise; a share of 95 % would lie between 92 and 98 %."""
    rng, held = np.random.default_rng(5), 0
    for _ in range(400):
        outcome, second, block = drawn_blocks(4, 0.0, rng)
        found = drawn_effect(outcome + rng.standard_t(2, size=16) + 0.7 * second, second, block, 0.95)
        held += found.low <= 0.7 <= found.high
    assert 0.92 <= held / 400 <= 0.98


def test_the_always_valid_interval_is_that_of_the_source_about_the_effect_asked() -> None:
    """An end t is where (score - weight t)² is the source's factor times the spread of the draw, order by order."""
    outcome, second, block = drawn_blocks(12, 0.6, np.random.default_rng(6))
    found = always_valid(outcome, second, block, 0.95, tuned_for=10)
    rho2 = (-2 * np.log(0.05) + np.log(-2 * np.log(0.05) + 1)) / 10
    w = 12 * rho2 + 1
    assert found.estimate == pytest.approx(drawn_effect(outcome, second, block, 0.95).estimate)
    for end, alpha in ((found.low, 0.05), (found.high, 0.05), (0.0, found.p_value)):
        rest = outcome - end * second
        # Every block of four tells alike: its share of the score is the difference of its means.
        blocks = [(rest[block == one], second[block == one]) for one in range(12)]
        seen = sum(values[arm].mean() - values[~arm].mean() for values, arm in blocks)
        spread = sum(np.var([difference(values, chosen) for chosen in combinations(range(4), 2)]) for values, _ in blocks)
        factor = 2 * w / (12 * rho2) * np.log(np.sqrt(w) / alpha)
        assert seen**2 == pytest.approx(factor * spread)
    with pytest.raises(TooFewError, match="3 whole blocks"):
        always_valid(outcome[:12], second[:12], block[:12], 0.95, tuned_for=25)


def difference(values: np.ndarray, chosen: tuple[int, ...]) -> float:
    is_chosen = np.isin(np.arange(len(values)), chosen)
    return float(values[is_chosen].mean() - values[~is_chosen].mean())


NOISE = {
    "normal": lambda rng, n: rng.normal(size=n),
    "heavy": lambda rng, n: rng.standard_t(3, size=n),
    "skewed": lambda rng, n: rng.exponential(size=n),
}


@pytest.mark.parametrize("noise", list(NOISE))
def test_a_look_every_week_of_a_year_at_no_effect_claims_in_one_of_twenty_at_most(noise: str) -> None:
    """200 comparisons of eight draws a week, in blocks of four; the figures of METHODS.md rest on 4,000 each."""
    rng = np.random.default_rng(7)
    block, second = np.repeat(np.arange(104), 4), np.tile([True, True, False, False], 104)
    n_false = 0
    for _ in range(200):
        outcome = NOISE[noise](rng, 416)
        n_false += any(_claims(outcome[: 8 * week], second[: 8 * week], block[: 8 * week]) for week in range(1, 53))
    assert n_false / 200 <= 0.05


def _claims(outcome: np.ndarray, second: np.ndarray, block: np.ndarray) -> bool:
    try:
        found = always_valid(outcome, second, block, 0.95, tuned_for=25)
    except TooFewError:
        return False
    return found.low > 0 or found.high < 0


def test_an_effect_is_found_as_draws_come_in() -> None:
    outcome, second, block = drawn_blocks(60, 1.0, np.random.default_rng(8))
    assert [_claims(outcome[:n], second[:n], block[:n]) for n in (12, 240)] == [False, True]


def test_a_long_comparison_has_more_orders_than_a_number_holds() -> None:
    """Of 1,100 pairs there are 2**1100 orders, beyond 1.8e308; the ends are near those of the pairs' differences."""
    is_second = np.tile([False, True], 1100)
    outcome = 0.5 * is_second + np.random.default_rng(7).normal(0.0, 1.0, 2200)
    found = drawn_effect(outcome, is_second, np.repeat(np.arange(1100), 2), 0.95)
    apart = outcome[1::2] - outcome[::2]
    half = 1.96 * apart.std(ddof=1) / np.sqrt(1100)
    assert (found.estimate, found.is_exact) == (pytest.approx(apart.mean()), False)
    assert (found.low, found.high) == pytest.approx((apart.mean() - half, apart.mean() + half), abs=0.001)

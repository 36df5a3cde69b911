"""The largest step of a figure: found where it is, and no more often found where nothing is than it says."""

import numpy as np
import pytest

from shared.errors import NotEstimableError, TooFewError
from shared.statistics.change_point import Step, chance_of_step, largest_step

PERIODS, BASE = 36, 12


def step_of(values: np.ndarray, rider: np.ndarray | None = None, n: int = 1, *, is_share: bool = False) -> Step:
    """n rows a period, period by period."""
    period = 600 + np.repeat(np.arange(len(values) // n), n)
    riders = np.arange(len(values)) if rider is None else rider
    return largest_step(values, period, riders, BASE, is_share=is_share, wanted=1.0)


def by_periods(values: np.ndarray, fewest_before: int) -> float:
    """The largest t of the textbook's two-sample test over all dates, one value a period."""
    found = []
    for at in range(fewest_before, len(values)):
        before, after = values[:at], values[at:]
        left = ((before - before.mean()) ** 2).sum() + ((after - after.mean()) ** 2).sum()
        error = (left / (len(values) - 2) * (1 / len(before) + 1 / len(after))) ** 0.5
        found.append(abs(after.mean() - before.mean()) / error)
    return max(found)


def test_the_chance_is_that_of_the_textbooks_largest_t() -> None:
    """Simulated: how often the largest t is beyond what the bound calls 1 and 5 %. A bound lies a little on the safe side."""
    rng = np.random.default_rng(1600)
    largest = np.array([by_periods(values, BASE) for values in rng.normal(size=(3000, PERIODS))])
    chance = np.array([chance_of_step(t, np.arange(BASE, PERIODS) / PERIODS, PERIODS - 2) for t in largest])
    # Standard errors of these shares: 0.002 and 0.004.
    assert 0.005 < (chance < 0.01).mean() < 0.014
    assert 0.030 < (chance < 0.05).mean() < 0.056


def test_the_chance_of_ten_values_at_any_date() -> None:
    """Worsley 1979 (J Am Stat Assoc 74:365) tables 3.14, 3.66 and 4.93 for 10, 5 and 1 %: quoted from memory, so that the wide
    tolerance only says that the same thing is meant; the hard test is the simulation above."""
    for t, chance in ((3.14, 0.10), (3.66, 0.05), (4.93, 0.01)):
        assert chance_of_step(t, np.arange(1, 10) / 10, 8) == pytest.approx(chance, rel=0.05)


def test_a_step_is_found_at_its_period() -> None:
    rng = np.random.default_rng(1601)
    values = rng.normal(size=PERIODS * 20)
    values[20 * 24 :] += 1
    found = step_of(values, n=20)
    assert (found.first, found.p_value < 1e-6) == (624, True)
    assert (found.before, found.after) == pytest.approx((values[:480].mean(), values[480:].mean()))


def test_no_step_is_sought_within_the_base() -> None:
    values = np.concatenate([np.zeros(6 * 20), np.ones(30 * 20)]) + np.random.default_rng(1602).normal(size=720)
    assert step_of(values, n=20).first >= 612


def test_unequal_periods_weigh_by_their_rows() -> None:
    """A single row of a last period says little, however far out it is."""
    values = np.append(np.random.default_rng(1603).normal(size=PERIODS * 20), 4.0)
    period = np.append(np.repeat(np.arange(PERIODS), 20), PERIODS)
    assert largest_step(values, period, np.arange(len(values)), BASE, is_share=False, wanted=1.0).p_value > 0.01


def false_alarms(kind: str, n_studios: int = 200) -> float:
    """How often a step has p < 0.05 where nothing moved, by what rows share."""
    rng, found = np.random.default_rng([1604, len(kind)]), 0
    for _ in range(n_studios):
        n, rider, is_share = 10, None, False
        if kind == "riders who recur":
            # Each rider has a row in each of twelve periods in a row, and is mostly like himself.
            start = np.repeat(np.arange(-12, PERIODS), n)
            rider, period = np.repeat(np.arange(len(start)), 12), np.repeat(start, 12) + np.tile(np.arange(12), len(start))
            values = np.repeat(rng.normal(size=len(start)), 12) + 0.5 * rng.normal(size=len(rider))
            kept = (period >= 0) & (period < PERIODS)
            step = largest_step(values[kept], period[kept], rider[kept], BASE, is_share=False, wanted=1.0)
            found += step.p_value < 0.05
            continue
        if kind == "what all of a period share":
            values = np.repeat(rng.normal(size=PERIODS), n) + 0.2 * rng.normal(size=PERIODS * n)
        elif kind == "a rare share":
            values, is_share = (rng.random(PERIODS * n) < 0.02).astype(float), True
            if not values.any():
                continue
        else:
            values = rng.normal(size=PERIODS * n)
        found += step_of(values, rider, n, is_share=is_share).p_value < 0.05
    return found / n_studios


@pytest.mark.parametrize("kind", ["nothing", "riders who recur", "what all of a period share", "a rare share"])
def test_where_nothing_moved_a_step_is_no_more_frequent_than_it_says(kind: str) -> None:
    # Three standard errors over 5 %: 0.05 + 3 * 0.0154.
    assert false_alarms(kind) <= 0.096


def test_an_error_by_periods_alone_is_misled_by_riders_who_recur(monkeypatch: pytest.MonkeyPatch) -> None:
    """So that the test above tests something."""
    monkeypatch.setattr("shared.statistics.change_point._error_by_riders", lambda *given: (np.full(len(given[3]), 1e-9), 1000))
    assert false_alarms("riders who recur") > 0.3


def test_what_holds_no_step_is_refused() -> None:
    with pytest.raises(NotEstimableError, match="No two periods differ"):
        step_of(np.ones(PERIODS))
    with pytest.raises(TooFewError, match="12 periods"):
        step_of(np.arange(12.0))

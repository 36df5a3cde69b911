"""How many more fits settle it: the width that is foreseen from small studios is that of studios that are larger."""

from dataclasses import replace

import numpy as np
import pytest

from dashboard.questions.effects.power import precisions_of
from shared.statistics.drawn import drawn_effect
from shared.statistics.power import draws_needed, expected_width
from tests.recovery.repeats import BY_NAME, TABLE, RepeatingByBoth, code, found, of_studios, studio, width

SMALL, LARGE = 150, 600


@pytest.mark.recovery
@pytest.mark.parametrize("name", ["exam, equal noise", "measured, equal noise", "blend, equal noise", "true, equal noise"])
def test_the_width_foreseen_for_four_times_the_riders_is_that_of_such_studios(name: str) -> None:
    """The mean over supports within 10 %: of a support's own mean width over 12 small studios against 6 large ones."""
    small, large = (replace(BY_NAME[name], riders=riders) for riders in (SMALL, LARGE))
    foreseen: dict[str, list[float]] = {}
    for seed in range(12):
        for one, today in precisions_of(found(studio(small, seed))):
            foreseen.setdefault(one.row.support, []).append(expected_width(today, LARGE / SMALL))
    seen: dict[str, list[float]] = {}
    for seed in range(1000, 1006):
        for one in found(studio(large, seed)):
            seen.setdefault(one.row.support, []).append(width(one))
    ratios = [np.mean(foreseen[support]) / np.mean(widths) for support, widths in seen.items()]
    assert len(ratios) == 6
    assert 0.9 <= np.mean(ratios) <= 1.1


@pytest.mark.recovery
@pytest.mark.parametrize("name", ["exam, equal noise", "measured, equal noise"])
def test_what_a_repeat_before_each_change_buys_is_what_is_foreseen(name: str) -> None:
    """Captures twice as many, and what the two differ by halved; by the exam they differ in nothing."""
    scenario = replace(BY_NAME[name], riders=SMALL)
    without, repeated = of_studios(scenario, 12), of_studios(scenario, 12, RepeatingByBoth)
    assert 0.9 <= without.foreseen / repeated.width <= 1.1
    assert repeated.width < 0.9 * without.width


def test_the_table_of_repeats_is_of_this_code() -> None:
    assert f"on code `{code()}`" in TABLE.read_text(encoding="utf-8"), "run python -m tests.recovery.repeats"


def test_so_many_draws_give_an_interval_as_narrow_as_asked_for() -> None:
    """Changes of two captures with a typical error of 0.6 degrees, half a degree asked for: 178 draws, 45 blocks of four."""
    n = draws_needed(2**0.5 * 0.6, 0.5, 0.95)
    assert n == 178
    rng = np.random.default_rng(3)
    block = np.repeat(np.arange(45), 4)
    widths = []
    for _ in range(6):
        second = np.concatenate([rng.permuted([True, True, False, False]) for _ in range(45)])
        effect = drawn_effect(rng.normal(0, 2**0.5 * 0.6, 180) + 0.3 * second, second, block, 0.95)
        widths.append(effect.high - effect.low)
    assert np.mean(widths) == pytest.approx(0.5, rel=0.1)

"""How many more fits settle it: the width that is foreseen from small studios is that of studios that are larger."""

from dataclasses import replace

import numpy as np
import pytest

from dashboard.questions.effects.power import precision_of
from dashboard.questions.models.captures import captures_of_rows
from dashboard.questions.models.claims import Found
from dashboard.questions.models.effect_models import fitted
from dashboard.questions.models.forms import PLAIN
from dashboard.questions.models.frames import STANCE_STEP_MM, frame_of
from dashboard.questions.models.thirds import narrowed, thirds_of
from shared.settings import Settings
from shared.statistics.drawn import drawn_effect
from shared.statistics.power import draws_needed, expected_width
from tests.recovery.scenarios import Array, Scenario, _Studio, scenarios

SMALL, LARGE = 150, 600
BY_NAME = {scenario.name: scenario for scenario in scenarios()}


class _Repeating(_Studio):
    """As the studio, but each capture is taken twice before anything is changed."""

    def _noise(self) -> Array:
        self.noise = super()._noise()
        return self.noise

    def _record(self, here: Array, visit: int, capture: int, measured: Array) -> None:
        super()._record(here, visit, 2 * capture, measured)
        first = self.noise
        super()._record(here, visit, 2 * capture + 1, measured - first + self._noise())


def studio(scenario: Scenario, seed: int, kind: type[_Studio] = _Studio) -> dict[str, Array]:
    made = kind(scenario, np.random.default_rng([seed, 77]))
    for visit in range(scenario.visits):
        made.run_visit(visit)
    return made.rows()


def found(rows: dict[str, Array]) -> dict[str, Found]:
    frame = frame_of(captures_of_rows(rows), "tilt")
    unjudged, fits = fitted(frame, None, Settings())
    assert fits is not None
    told = narrowed(unjudged, thirds_of(frame, fits.within.terms), PLAIN, Settings())
    return {one.row.support: one for one in told if one.row.told_low is not None}


def width(one: Found) -> float:
    step = STANCE_STEP_MM if one.row.support == "stance" else 1.0
    assert one.row.told_low is not None and one.row.told_high is not None
    return step * (one.row.told_high - one.row.told_low)


@pytest.mark.recovery
@pytest.mark.parametrize("name", ["exam, equal noise", "measured, equal noise", "blend, equal noise", "true, equal noise"])
def test_the_width_foreseen_for_four_times_the_riders_is_that_of_such_studios(name: str) -> None:
    """The mean over supports within 10 %: of a support's own mean width over 12 small studios against 6 large ones."""
    small, large = (replace(BY_NAME[name], riders=riders) for riders in (SMALL, LARGE))
    foreseen: dict[str, list[float]] = {}
    for seed in range(12):
        for support, one in found(studio(small, seed)).items():
            foreseen.setdefault(support, []).append(expected_width(precision_of(one), LARGE / SMALL))
    seen: dict[str, list[float]] = {}
    for seed in range(1000, 1006):
        for support, one in found(studio(large, seed)).items():
            seen.setdefault(support, []).append(width(one))
    ratios = [np.mean(foreseen[support]) / np.mean(widths) for support, widths in seen.items()]
    assert len(ratios) == 6
    assert 0.9 <= np.mean(ratios) <= 1.1


@pytest.mark.recovery
def test_what_a_repeat_before_each_change_buys_is_what_its_captures_bring() -> None:
    """Fitters go by the exam, so that what they decide by is the same with and without a repeat."""
    scenario = replace(BY_NAME["exam, equal noise"], riders=SMALL)
    ratios = []
    for seed in range(8):
        plain, repeated = studio(scenario, seed), studio(scenario, 500 + seed, _Repeating)
        captures = len(repeated["tilt"]) / len(plain["tilt"])
        there = found(repeated)
        ratios += [
            expected_width(precision_of(one), 1.0, captures) / width(there[support])
            for support, one in found(plain).items()
            if support in there
        ]
    assert 0.9 <= np.mean(ratios) <= 1.1


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

"""What a repeat before each change buys: studios beside the same ones in which every setup is captured twice.

`python -m tests.recovery.repeats [STUDIOS]` writes repeats.md.
"""

import sys
from collections.abc import Iterator
from dataclasses import astuple, dataclass, replace
from pathlib import Path

import numpy as np

from dashboard.questions.effects.power import precisions_of
from dashboard.questions.models.captures import captures_of_rows
from dashboard.questions.models.claims import Found
from dashboard.questions.models.effect_models import fitted
from dashboard.questions.models.forms import PLAIN
from dashboard.questions.models.frames import STANCE_STEP_MM, frame_of
from dashboard.questions.models.thirds import narrowed, thirds_of
from shared.settings import Settings
from shared.statistics.power import expected_width
from tests.recovery.scenarios import TRUE_TILT_DEG, Array, Scenario, _Studio, scenarios
from tests.sources import digest

TABLE = Path(__file__).parent / "repeats.md"
RESTS_ON = (
    "shared/statistics/sequential", "shared/statistics/power.py", "shared/statistics/told.py",
    "tests/recovery/scenarios.py", "tests/recovery/repeats.py",
)  # fmt: skip
BY_NAME = {scenario.name: scenario for scenario in scenarios()}
CASES = (
    "exam, equal noise", "measured, equal noise", "true, equal noise", "blend, equal noise",
    "measured, in turn", "true, in turn", "blend, in turn",
)  # fmt: skip
# Riders, and the share of the studios asked for: large ones scatter less.
SIZES = {150: 1.0, 600: 0.5}
STUDIOS = 60

HEAD = """# What a repeat before each change buys

Written by `python -m tests.recovery.repeats` on code `{code}`. Studios of `scenarios.py`, tilt, six supports, beside the same
practice with every setup captured twice before it is changed; the fitter goes by the *second* capture or by *both*.
*Holds*: how often the told interval holds the truth, without and with repeats. Beside what it is without: the told interval's
*width*, that *foreseen* from the studios without, what the two estimates *differ* by (root of the mean square beyond its
noise), the *third* estimate's standard error where it is strong. *Twice the riders*: the width without repeats in studios of
twice the riders, beside that of the size itself.

| studio | riders | goes by | studios | holds, without | holds | width | foreseen | differ | third | twice the riders |
|---|---|---|---|---|---|---|---|---|---|---|
"""


class Repeating(_Studio):
    """As the studio, but each capture is taken twice before anything is changed; the fitter goes by the second."""

    of_second = 1.0

    def _noise(self) -> Array:
        self.noise = super()._noise()
        return self.noise

    def _record(self, here: Array, visit: int, capture: int, measured: Array) -> None:
        super()._record(here, visit, 2 * capture, measured)
        first = self.noise
        super()._record(here, visit, 2 * capture + 1, measured - first + self._noise())
        self.second_less_first = self.noise - first

    def _change(self, changes: Array, seen: Array, turn: Array) -> None:
        super()._change(changes, seen + self.scenario.by_measured * self.of_second * self.second_less_first, turn)


class RepeatingByBoth(Repeating):
    """The same, but the fitter goes by the mean of both."""

    of_second = 0.5


def studio(scenario: Scenario, seed: int, kind: type[_Studio] = _Studio) -> dict[str, Array]:
    made = kind(scenario, np.random.default_rng([seed, 77]))
    for visit in range(scenario.visits):
        made.run_visit(visit)
    return made.rows()


def found(rows: dict[str, Array]) -> list[Found]:
    frame = frame_of(captures_of_rows(rows), "tilt")
    unjudged, fits = fitted(frame, None, Settings())
    assert fits is not None
    told = narrowed(unjudged, thirds_of(frame, fits.within.terms), PLAIN, Settings())
    return [one for one in told if one.row.told_low is not None]


def width(one: Found) -> float:
    step = STANCE_STEP_MM if one.row.support == "stance" else 1.0
    assert one.row.told_low is not None and one.row.told_high is not None
    return step * (one.row.told_high - one.row.told_low)


@dataclass(frozen=True)
class Seen:
    """One support of one studio: whether the told interval holds the truth, its width, that foreseen with a repeat before each
    change, the square of what the two differ by less its noise, the third's squared standard error or NaN where it is weak."""

    holds: bool
    width: float
    foreseen: float
    apart: float
    third: float


def seen(scenario: Scenario, seed: int, kind: type[_Studio] = _Studio) -> Iterator[Seen]:
    for one, precision in precisions_of(found(studio(scenario, seed, kind))):
        row, true = one.row, TRUE_TILT_DEG[one.row.support]
        assert row.told_low is not None and row.told_high is not None
        yield Seen(
            row.told_low <= true <= row.told_high,
            width(one),
            expected_width(precision, 1.0, 2.0),
            precision.difference**2 - precision.difference_se**2,
            precision.third_half**2 if precision.strength >= 23.1 else float("nan"),
        )


def of_studios(scenario: Scenario, n: int, kind: type[_Studio] = _Studio) -> Seen:
    """The means over supports and studios."""
    table = np.array([astuple(one) for seed in range(n) for one in seen(scenario, seed, kind)], dtype=float)
    means = [float(column[np.isfinite(column)].mean()) if np.isfinite(column).any() else float("nan") for column in table.T]
    return Seen(*means)  # type: ignore[arg-type]


def rows(studios: int) -> Iterator[str]:
    for riders, share in SIZES.items():
        n = max(1, round(share * studios))
        for name in CASES:
            scenario = replace(BY_NAME[name], riders=riders)
            without, twice = of_studios(scenario, n), of_studios(replace(scenario, riders=2 * riders), n)
            kinds = {"second": Repeating, "both": RepeatingByBoth} if scenario.by_measured else {"either": Repeating}
            for by, kind in kinds.items():
                made = of_studios(scenario, n, kind)
                apart = max(made.apart, 0.0) ** 0.5 / without.apart**0.5 if name != CASES[0] else float("nan")
                cells = [
                    *(f"{100 * holds:.1f} %" for holds in (without.holds, made.holds)),
                    *(
                        f"{share:.2f}" if np.isfinite(share) else "-"
                        for share in (
                            made.width / without.width,
                            without.foreseen / without.width,
                            apart,
                            (made.third / without.third) ** 0.5,
                            twice.width / without.width,
                        )
                    ),
                ]
                yield f"| {name} | {riders} | {by} | {n} | {' | '.join(cells)} |\n"


def code() -> str:
    return digest(*RESTS_ON)


if __name__ == "__main__":
    TABLE.write_text(HEAD.format(code=code()) + "".join(rows(int((*sys.argv[1:], STUDIOS)[0]))), encoding="utf-8")

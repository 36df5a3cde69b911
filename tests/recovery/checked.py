"""Studios whose effects come late, depend on one another, bend or drift by arch: what is found, and what stays inside.

`python -m tests.recovery.checked [STUDIOS] [RIDERS]` prints the table of METHODS.md.
"""

import sys
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

import numpy as np

from dashboard.questions.effects.check_models import Tested, form_found, late_of, late_p_value, tested
from dashboard.questions.models.captures import captures_of_rows
from dashboard.questions.models.claims import claimed
from dashboard.questions.models.effect_models import fitted
from dashboard.questions.models.forms import PLAIN, Form
from dashboard.questions.models.frames import frame_of
from dashboard.questions.models.thirds import narrowed, thirds_of
from shared.settings import Settings
from tests.recovery.scenarios import TRUE_TILT_DEG, Scenario, scenarios, simulated

STUDIOS, RIDERS = 40, 150
SETTINGS = Settings()
# What is done to the studios, by what the fitters go by.
CHOICES = ("exam, equal noise", "measured, equal noise", "true, equal noise", "blend, equal noise")
CASES: dict[str, dict[str, Any]] = {
    "as told": {},
    "nothing acts": {"has_effect": False},
    "30 % late": {"late": 0.3},
    "60 % late": {"late": 0.6},
    "a shim 0.3° more on an insole": {"with_insole_deg": 0.3},
    "further shims 0.3° less": {"bend_deg": -0.3},
    "0.1° a capture by arch": {"arch_drift_deg": 0.1},
    "0.3° a capture by arch": {"arch_drift_deg": 0.3},
}


@dataclass(frozen=True)
class Looked:
    """One studio: what was found, and how many told intervals of supports hold the truth, by models that allow for nothing and
    as they are told."""

    form: Form
    tested: tuple[Tested, ...]
    n: int
    plain_inside: int
    inside: int

    def found(self, check: str) -> bool:
        q_value = next(one.q_value for one in self.tested if one.check == check)
        return q_value is not None and q_value < SETTINGS.checks.found_below_q


def cases(riders: int) -> Iterator[Scenario]:
    """Every case with every choice."""
    choices = {scenario.name: scenario for scenario in scenarios()}
    for case, differing in CASES.items():
        for choice in CHOICES:
            yield replace(choices[choice], name=f"{choice.split(',')[0]}: {case}", riders=riders, **differing)


def looked_at(scenario: Scenario, seed: int) -> Looked:
    """The tilt of one simulated studio, asked for as the effects question does."""
    captures = captures_of_rows(simulated(scenario, np.random.default_rng([seed, sum(map(ord, scenario.name))])))
    found, fits = fitted(frame_of(captures, "tilt"), None, SETTINGS)
    assert fits is not None
    rows = claimed(found, SETTINGS)
    slopes = {term: told.estimate for term, told in fits.pooled_table.items() if term in fits.within_table}
    tested_in = partial(tested, captures, "tilt", slopes=slopes, settings=SETTINGS, begun=fits.ratios)
    late = (
        late_p_value(late_of(captures, "tilt", slopes, SETTINGS), tested_in(PLAIN))
        if any(row.direction for row in rows)
        else None
    )
    # One outcome alone is its own family.
    form = form_found(late, tested_in, SETTINGS)
    frame = frame_of(captures, "tilt", form.columns())
    found, fits = fitted(frame, None, SETTINGS)
    thirds = thirds_of(frame, fits.within.terms) if fits and form == PLAIN else {}
    told = claimed(narrowed(found, thirds, form, SETTINGS), SETTINGS)
    truth = {support: effect if scenario.has_effect else 0.0 for support, effect in TRUE_TILT_DEG.items()}
    inside = [
        [(row.told_low or 0.0) <= truth[row.support] <= (row.told_high or 0.0) for row in each if row.told_low is not None]
        for each in (rows, told)
    ]
    return Looked(form, tested_in(form), len(inside[1]), sum(inside[0]), sum(inside[1]))


def many(scenario: Scenario, seeds: Iterable[int]) -> list[Looked]:
    return [looked_at(scenario, seed) for seed in seeds]


def main(studios: int = STUDIOS, riders: int = RIDERS) -> None:
    """Prints one line a case and choice as Markdown."""
    out = sys.stdout.write
    out(
        f"{studios} studios of {riders} riders each, tilt. Found: in how many it is told. Inside: told intervals that hold the "
    )
    out("truth, by models that allow for nothing, and as they are told.\n\n")
    out("| studio | late | insole and shim | shims bend | stance bends | drift by arch | inside, plain | inside |\n")
    out("|---|---|---|---|---|---|---|---|\n")
    for scenario in cases(riders):
        seen = many(scenario, range(studios))
        counts = [sum(one.form.is_late for one in seen)]
        counts += [sum(one.found(check) for one in seen) for check in ("insole_shim", "shim_bend", "stance_bend", "order_arch")]
        n = sum(one.n for one in seen)
        shares = (100 * sum(one.plain_inside for one in seen) / n, 100 * sum(one.inside for one in seen) / n)
        out(f"| {scenario.name} | {' | '.join(map(str, counts))} | {shares[0]:.1f} % | {shares[1]:.1f} % |\n")
        sys.stdout.flush()


if __name__ == "__main__":
    main(*map(int, sys.argv[1:3]))

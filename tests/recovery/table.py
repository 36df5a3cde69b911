"""Prints the recovery table, `make recovery`: bias and coverage of each estimate in each scenario, over many studios."""

import sys
from collections.abc import Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass

import numpy as np

from dashboard.questions.models.effect_models import outcome_rows
from shared.settings import Settings
from tests.recovery.scenarios import TRUE_TILT_DEG, Scenario, scenarios, simulated

STUDIOS = 200


@dataclass(frozen=True)
class Recovery:
    """Over all supports and studios of one scenario: bias in degrees of a shim, coverages, width, and shares of claims."""

    scenario: Scenario
    n: int
    pooled_bias: float
    within_bias: float
    pooled_coverage: float
    within_coverage: float
    bracket_coverage: float
    claims: float
    disagree: float


def recovered(scenario: Scenario, seeds: Iterable[int]) -> Recovery:
    """Simulates a studio for each seed and asks for the effects on the tilt."""
    found = np.array([line for seed in seeds for line in _lines(scenario, seed)])
    is_shim = found[:, 0] == list(TRUE_TILT_DEG).index("shim")
    means = found.mean(axis=0)
    return Recovery(
        scenario=scenario,
        n=len(found),
        pooled_bias=float(found[is_shim, 1].mean()),
        within_bias=float(found[is_shim, 2].mean()),
        pooled_coverage=float(means[3]),
        within_coverage=float(means[4]),
        bracket_coverage=float(means[5]),
        claims=float(means[6]),
        disagree=float(means[7]),
    )


def _lines(scenario: Scenario, seed: int) -> Iterator[tuple[float, ...]]:
    rows = simulated(scenario, np.random.default_rng([seed, len(scenario.name), sum(map(ord, scenario.name))]))
    for row in outcome_rows(rows, "tilt", None, Settings()):
        if row.pooled is None or row.within is None or row.bracket_low is None or row.bracket_high is None:
            continue
        true = TRUE_TILT_DEG[row.support] if scenario.has_effect else 0.0
        yield (
            list(TRUE_TILT_DEG).index(row.support),
            row.pooled - true,
            row.within - true,
            (row.pooled_low or 0.0) <= true <= (row.pooled_high or 0.0),
            (row.within_low or 0.0) <= true <= (row.within_high or 0.0),
            row.bracket_low <= true <= row.bracket_high,
            row.bracket_low > 0 or row.bracket_high < 0,
            "differ by more than their noise" in row.words,
        )


def _recovered_many(job: tuple[Scenario, int]) -> Recovery:
    scenario, studios = job
    return recovered(scenario, range(studios))


def main(studios: int = STUDIOS) -> None:
    """Prints one line a scenario as Markdown."""
    out = sys.stdout.write
    out(f"{studios} studios a scenario; bias of a shim's effect in degrees; coverage of 95 % intervals over all supports.\n\n")
    out(
        "| scenario | pooled bias | within bias | pooled | within | bracket | claims | disagree |\n"
        "|---|---|---|---|---|---|---|---|\n"
    )
    with ProcessPoolExecutor(2) as pool:
        for r in pool.map(_recovered_many, [(scenario, studios) for scenario in scenarios()]):
            figures = (r.pooled_coverage, r.within_coverage, r.bracket_coverage, r.claims, r.disagree)
            shares = " | ".join(f"{100 * share:.1f} %" for share in figures)
            out(f"| {r.scenario.name} | {r.pooled_bias:+.3f} | {r.within_bias:+.3f} | {shares} |\n")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else STUDIOS)

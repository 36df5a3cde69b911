"""Writes the recovery table, `make recovery`: bias and coverage of each estimate in each scenario, at three sizes of studio.

Every studio's result is kept in `build/recovery.jsonl` under the digest of the code, so that a run that was stopped goes on
where it was; the table says how many studios each of its lines rests on.
"""

import argparse
import json
import sys
import time
from collections import defaultdict
from collections.abc import Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from dashboard.questions.models.effect_models import outcome_rows
from shared.settings import Settings
from tests.recovery.scenarios import TRUE_TILT_DEG, Scenario, scenarios, simulated
from tests.sources import ROOT, digest, reached

STUDIOS = 1000
SIZES = (30, 150, 1500)
BATCH = 25
KEPT = ROOT / "build" / "recovery.jsonl"
TABLE = Path(__file__).parent / "recovery.md"
# All of shared/statistics that the run goes through, and the scenarios.
RESTS_ON = (*reached("tests/recovery/table.py", "shared/statistics"), "tests/recovery/scenarios.py")
SUPPORTS = list(TRUE_TILT_DEG)

HEAD = """# Recovery of known effects

Written by `make recovery` on code `{code}`. Simulated studios (`scenarios.py`) in which fitters go by the exam, the
measured tilt, the true tilt or a blend, with equal, heavy-tailed and shared noise, drift, one to four visits, varied effects
or none. *Bias*: of a shim's effect on the tilt, in degrees. *Pooled, within, told*: how often each interval holds the truth,
over all supports that were changed often enough. *Claims*: supports of which a direction is told, false if none acts.
*Disagree*: the two estimates are said to differ by more than their noise. *Width*: of a shim's told interval, in degrees.
"""

# One support of one studio: its place in SUPPORTS, the errors of both estimates in degrees, whether each interval holds the
# truth, whether a change is claimed, whether the two are said to differ, and the told interval's width in degrees.
Line = tuple[int, float, float, bool, bool, bool, bool, bool, float]


@dataclass(frozen=True)
class Recovery:
    """Over all supports and studios of one scenario: bias in degrees of a shim, coverages, width, and shares of claims."""

    scenario: Scenario
    n: int
    pooled_bias: float
    within_bias: float
    pooled_coverage: float
    within_coverage: float
    told_coverage: float
    claims: float
    disagree: float
    told_width: float


def recovered(scenario: Scenario, seeds: Iterable[int]) -> Recovery:
    """Simulates a studio for each seed and asks for the effects on the tilt."""
    return _summed(scenario, [line for seed in seeds for line in lines_of(scenario, seed)])


def _summed(scenario: Scenario, lines: list[Line]) -> Recovery:
    told = np.array(lines, dtype=float).reshape(-1, 9)
    of_shim = told[told[:, 0] == SUPPORTS.index("shim")]
    nan = np.full(9, np.nan)
    shim, means = (part.mean(axis=0) if len(part) else nan for part in (of_shim, told))
    return Recovery(scenario, len(told), *map(float, (*shim[1:3], *means[3:8], shim[8])))


def lines_of(scenario: Scenario, seed: int) -> Iterator[Line]:
    """The supports of one studio that have both estimates."""
    rows = simulated(scenario, np.random.default_rng([seed, len(scenario.name), sum(map(ord, scenario.name))]))
    for row in outcome_rows(rows, "tilt", None, Settings()):
        if row.pooled is None or row.within is None or row.told_low is None or row.told_high is None:
            continue
        true = TRUE_TILT_DEG[row.support] if scenario.has_effect else 0.0
        yield (
            SUPPORTS.index(row.support),
            round(row.pooled - true, 6),
            round(row.within - true, 6),
            (row.pooled_low or 0.0) <= true <= (row.pooled_high or 0.0),
            (row.within_low or 0.0) <= true <= (row.within_high or 0.0),
            row.told_low <= true <= row.told_high,
            row.direction != 0,
            "differ by more than their noise" in row.words,
            round(row.told_high - row.told_low, 6),
        )


@dataclass(frozen=True)
class Batch:
    """Some studios of one scenario and size, by their seeds."""

    scenario: Scenario
    seeds: tuple[int, ...]


def _run(batch: Batch) -> list[str]:
    """A line of JSON a studio."""
    where = {"code": code(), "scenario": batch.scenario.name, "riders": batch.scenario.riders}
    return [json.dumps({**where, "seed": seed, "lines": list(lines_of(batch.scenario, seed))}) for seed in batch.seeds]


def code() -> str:
    """The digest of what the table rests on."""
    return digest(*RESTS_ON)


def kept(path: Path = KEPT) -> dict[tuple[str, int], dict[int, list[Line]]]:
    """The lines of the studios that were simulated with this very code, by scenario and riders, then by seed."""
    now, found = code(), defaultdict[tuple[str, int], dict[int, list[Line]]](dict)
    for text in path.read_text(encoding="utf-8").splitlines() if path.exists() else ():
        studio = json.loads(text)
        if studio["code"] == now:
            found[studio["scenario"], studio["riders"]][studio["seed"]] = studio["lines"]
    return found


def _owed(studios: int) -> list[Batch]:
    """What is still to be simulated, by turns of scenarios and sizes, so that a run that is stopped has some of each."""
    done = kept()
    batches = []
    for riders in SIZES:
        for scenario in scenarios():
            missing = [seed for seed in range(studios) if seed not in done[scenario.name, riders]]
            sized = replace(scenario, riders=riders)
            batches += [Batch(sized, tuple(missing[at : at + BATCH])) for at in range(0, len(missing), BATCH)]
    return sorted(batches, key=lambda batch: batch.seeds[0])


def simulate(studios: int, seconds: float) -> None:
    """Simulates what is owed on two cores, until it is done or the time is over."""
    KEPT.parent.mkdir(exist_ok=True)
    ends = time.monotonic() + seconds
    with KEPT.open("a", encoding="utf-8") as out, ProcessPoolExecutor(2) as pool:
        jobs = [pool.submit(_run, batch) for batch in _owed(studios)]
        for job in as_completed(jobs):
            if job.cancelled():
                continue
            out.write("".join(f"{line}\n" for line in job.result()))
            out.flush()
            if time.monotonic() > ends:
                pool.shutdown(wait=False, cancel_futures=True)
                break


def table() -> str:
    """The table in Markdown, from what is kept."""
    done = kept()
    head = HEAD.format(code=code())
    return head + "".join(_part(riders, done) for riders in SIZES)


def _part(riders: int, done: dict[tuple[str, int], dict[int, list[Line]]]) -> str:
    rows = [
        f"\n## {riders} riders\n\n"
        "| scenario | studios | pooled bias | within bias | pooled | within | told | claims | disagree | width |\n"
        "|---|---|---|---|---|---|---|---|---|---|\n"
    ]
    for scenario in scenarios():
        studios = done[scenario.name, riders]
        r = _summed(scenario, [line for lines in studios.values() for line in lines])
        shares = (r.pooled_coverage, r.within_coverage, r.told_coverage, r.claims, r.disagree)
        cells = [f"{r.pooled_bias:+.3f}", f"{r.within_bias:+.3f}", *(f"{100 * share:.1f} %" for share in shares)]
        rows.append(f"| {scenario.name} | {len(studios)} | {' | '.join(cells)} | {r.told_width:.2f} |\n")
    return "".join(rows)


def main(arguments: list[str]) -> None:
    """Simulates, and writes the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--studios", type=int, default=STUDIOS, help="of each scenario and size")
    parser.add_argument("--seconds", type=float, default=float("inf"), help="stop after so long; the next run goes on")
    options = parser.parse_args(arguments)
    simulate(options.studios, options.seconds)
    TABLE.write_text(table(), encoding="utf-8")


if __name__ == "__main__":
    main(sys.argv[1:])

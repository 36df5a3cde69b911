"""Writes the recovery table, `make recovery`: bias and coverage of each estimate in each scenario, at three sizes of studio.

Every studio's result is kept in `build/recovery.jsonl` under the digest of the code, so that a run that was stopped goes on
where it was; the table says how many studios each of its lines rests on.
"""

import json
import sys
import time
from collections import defaultdict
from collections.abc import Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from dashboard.questions.models.effect_models import outcome_rows
from shared.settings import Settings
from shared.statistics.told import STRONG_FROM
from tests.recovery.running import run
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
or none, supports one drawn at a time or nearly always in turn. *Bias*: of a shim's effect on the tilt, in degrees. *Pooled,
within, third, bracket, told*: how often each interval holds the truth, over all supports that were changed often enough; the
third where it is strong enough to be leaned on. *Claims*: supports of which a direction is told, false if none acts.
*Disagree*: the two estimates are said to differ by more than their noise. *Narrowed*: the third estimate narrows the told
interval. *Width*: of a shim's told interval, in degrees; *of bracket*: of all supports, told beside bracket.
"""

# One support of one studio: its place in SUPPORTS, the errors of both estimates in degrees, whether each interval holds the
# truth (the third's is None where it is too weak), whether a change is claimed, whether the two are said to differ, whether the
# third narrows it, the told interval's width in degrees and its share of the bracket's.
Line = tuple[int, float, float, bool, bool, bool | None, bool, bool, bool, bool, bool, float, float]


@dataclass(frozen=True)
class Recovery:
    """Over all supports and studios of one scenario: bias in degrees of a shim, coverages, width, and shares of claims."""

    scenario: Scenario
    n: int
    pooled_bias: float
    within_bias: float
    pooled_coverage: float
    within_coverage: float
    third_coverage: float
    bracket_coverage: float
    told_coverage: float
    claims: float
    disagree: float
    narrowed: float
    told_width: float
    of_bracket: float


def recovered(scenario: Scenario, seeds: Iterable[int]) -> Recovery:
    """Simulates a studio for each seed and asks for the effects on the tilt."""
    return _summed(scenario, [line for seed in seeds for line in lines_of(scenario, seed)])


def _summed(scenario: Scenario, lines: list[Line]) -> Recovery:
    told = np.array(lines, dtype=float).reshape(-1, 13)
    of_shim = told[told[:, 0] == SUPPORTS.index("shim")]
    shim, means = (_means(part) for part in (of_shim, told))
    return Recovery(scenario, len(told), *map(float, (*shim[1:3], *means[3:11], shim[11], means[12])))


def _means(lines: NDArray[np.float64]) -> NDArray[np.float64]:
    """The mean of each column over what is known of it; NaN where nothing is."""
    known = np.isfinite(lines).sum(axis=0)
    return np.where(known > 0, np.nansum(lines, axis=0) / np.maximum(known, 1), np.nan)


def lines_of(scenario: Scenario, seed: int) -> Iterator[Line]:
    """The supports of one studio that have both estimates."""
    rows = simulated(scenario, np.random.default_rng([seed, len(scenario.name), sum(map(ord, scenario.name))]))
    for row in outcome_rows(rows, "tilt", None, Settings()):
        if row.pooled is None or row.within is None or row.told_low is None or row.told_high is None:
            continue
        assert row.bracket_low is not None and row.bracket_high is not None
        true = TRUE_TILT_DEG[row.support] if scenario.has_effect else 0.0
        is_strong = row.strength is not None and row.strength >= STRONG_FROM
        yield (
            SUPPORTS.index(row.support),
            round(row.pooled - true, 6),
            round(row.within - true, 6),
            (row.pooled_low or 0.0) <= true <= (row.pooled_high or 0.0),
            (row.within_low or 0.0) <= true <= (row.within_high or 0.0),
            (row.sequential_low or 0.0) <= true <= (row.sequential_high or 0.0) if is_strong else None,
            row.bracket_low <= true <= row.bracket_high,
            row.told_low <= true <= row.told_high,
            row.direction != 0,
            "differ by more than their noise" in row.words,
            row.told_by == "sequential",
            round(row.told_high - row.told_low, 6),
            round((row.told_high - row.told_low) / (row.bracket_high - row.bracket_low), 6),
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
        "| scenario | studios | pooled bias | within bias | pooled | within | third | bracket | told | claims | disagree "
        "| narrowed | width | of bracket |\n"
        "|---|---|---|---|---|---|---|---|---|---|---|---|---|---|\n"
    ]
    for scenario in scenarios():
        studios = done[scenario.name, riders]
        r = _summed(scenario, [line for lines in studios.values() for line in lines])
        shares = (r.pooled_coverage, r.within_coverage, r.third_coverage, r.bracket_coverage, r.told_coverage)
        said = (r.claims, r.disagree, r.narrowed)
        cells = [f"{r.pooled_bias:+.3f}", f"{r.within_bias:+.3f}", *map(_percent, (*shares, *said))]
        widths = f"{r.told_width:.2f} | {r.of_bracket:.2f}"
        rows.append(f"| {scenario.name} | {len(studios)} | {' | '.join(cells)} | {widths} |\n")
    return "".join(rows)


def _percent(share: float) -> str:
    return f"{100 * share:.1f} %" if np.isfinite(share) else "none"


if __name__ == "__main__":
    run(sys.argv[1:], __doc__, (STUDIOS, "of each scenario and size"), simulate, table, TABLE)

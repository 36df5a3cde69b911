"""The pooled model from cells beside statsmodels, and beside lme4 where Rscript is: seconds and ratios in one run.

Run by `make bench`; sizes on the command line override the default ones: python tests/bench/mixed.py 1e5 4e6
"""

import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from shared.statistics.mixed.fits import fit_mixed_cells
from tests.bench.told import Reference, tell
from tests.rows_as_cells import cells_of
from tests.statsmodels_mixed import fit_mixed_model

SIZES = (10_000, 100_000, 400_000)
# statsmodels forms each rider's covariance at every step; lme4 is asked for crossed intercepts.
LARGEST_FOR = {"statsmodels": 10_000, "lme4": 400_000}
N_TERMS = 30


@dataclass(frozen=True)
class Studio:
    outcome: NDArray[np.float64]
    design: NDArray[np.float64]
    rider: NDArray[np.int64]
    knee: NDArray[np.int64]
    visit: NDArray[np.int64]


def studio(n_rows: int, n_terms: int, seed: int = 1) -> Studio:
    """About n_rows rows by session, side and capture: one to three visits a rider, two to six captures a visit, 3 % lost."""
    rng = np.random.default_rng(seed)
    n_riders = n_rows // 13
    of_visit = np.repeat(np.arange(n_riders), rng.choice([1, 1, 1, 2, 2, 3], n_riders))
    rng.shuffle(of_visit)
    captures = rng.choice([2, 3, 4, 4, 5, 6], len(of_visit))
    visit = np.repeat(np.arange(len(of_visit)), 2 * captures)
    place = np.arange(len(visit)) - np.repeat(np.cumsum(2 * captures) - 2 * captures, 2 * captures)
    side = (place >= np.repeat(captures, 2 * captures)).astype(np.int64)
    kept = rng.random(len(visit)) < 0.97
    visit, side, place = visit[kept], side[kept], place[kept]
    rider = of_visit[visit]
    knee = 2 * rider + side
    design = np.ones((len(visit), n_terms))
    for term in range(1, n_terms - 1):
        design[:, term] = rng.random(len(visit)) < 0.05 + 0.4 * term / n_terms
    design[:, -1] = rng.normal(size=n_riders)[rider]
    outcome = 0.3 * design @ rng.normal(size=n_terms) + rng.normal(size=len(visit))
    outcome += 1.2 * rng.normal(size=n_riders)[rider] + 0.9 * rng.normal(size=2 * n_riders)[knee]
    outcome += 0.5 * rng.normal(size=len(of_visit))[visit]
    return Studio(outcome, design, rider, knee, visit)


def product_seconds(made: Studio) -> float:
    """The design's cross product, which any least squares takes."""
    return seconds(lambda: made.design.T @ made.design)


def seconds(work: Callable[[], object], times: int = 3) -> float:
    """The best of some runs: what the machine can do when nobody disturbs it."""
    best = np.inf
    for _ in range(times):
        start = time.perf_counter()
        work()
        best = min(best, time.perf_counter() - start)
    return best


def lme4_seconds(made: Studio) -> float | None:
    """lmer on the same rows, its fit alone; None without R and lme4."""
    if shutil.which("Rscript") is None:
        return None
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "rows.csv"
        columns = np.column_stack([made.outcome, made.rider, made.knee, made.visit, made.design[:, 1:]])
        names = ["y", "rider", "knee", "visit", *(f"x{index}" for index in range(1, made.design.shape[1]))]
        np.savetxt(path, columns, delimiter=",", header=",".join(names), comments="")
        terms = " + ".join(names[4:])
        script = (
            f"d <- read.csv('{path.as_posix()}'); suppressMessages(library(lme4)); "
            f"cat(system.time(lmer(y ~ {terms} + (1|rider) + (1|knee) + (1|visit), d, REML = TRUE))[['elapsed']])"
        )
        found = subprocess.run(["Rscript", "-e", script], capture_output=True, text=True, check=False)
    return float(found.stdout) if found.returncode == 0 and found.stdout else None


def main(sizes: tuple[int, ...]) -> None:
    """Tells the pooled model with random intercepts for rider, knee and visit, and CR2 by rider."""
    for size in sizes:
        made = studio(size, N_TERMS)
        terms = ("intercept", *(f"x{index}" for index in range(1, N_TERMS)))
        given = (made.outcome, made.design, terms, made.rider, made.knee, made.visit)
        cells = cells_of(made.outcome, made.design, terms, made.rider, made.knee, made.visit)
        engine = seconds(partial(fit_mixed_cells, *cells, np.ones(N_TERMS, dtype=bool)))
        slow = seconds(partial(fit_mixed_model, *given), 1) if size <= LARGEST_FOR["statsmodels"] else None
        lme4 = lme4_seconds(made) if size <= LARGEST_FOR["lme4"] else None
        scale = f"{len(made.outcome):,} rows, {len(np.unique(made.rider)):,} riders"
        for name, other in (("statsmodels", slow), ("lme4", lme4)):
            if other is not None:
                tell(f"pooled model, {N_TERMS} terms", scale, [engine], Reference(name, other))
        if slow is None and lme4 is None:
            tell(f"pooled model, {N_TERMS} terms", scale, [engine], Reference("a product of its rows", product_seconds(made)))


if __name__ == "__main__":
    main(tuple(int(float(size)) for size in sys.argv[1:]) or SIZES)

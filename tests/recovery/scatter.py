"""Studios of six fitters of whom one measures with more noise: what the others' fits are told to have done.

`python -m tests.recovery.scatter [STUDIOS]` prints the table of METHODS.md.
"""

import sys
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from dashboard.questions.data.fitter_noise import FitterNoise, fitter_noise, scatters_more
from dashboard.questions.data.noise import noise_row
from shared.settings import Settings

SETTINGS, STUDIOS = Settings(), 200
FITTERS, NOISE_DEG = 6, 0.6
CASES = {"alike": (1.0, "normal"), "alike, heavy tails": (1.0, "heavy"), "one of six twice": (2.0, "normal")}
CASES |= {"one of six three times": (3.0, "normal"), "one of six twice, heavy tails": (2.0, "heavy")}


@dataclass(frozen=True)
class Seen:
    """Shares of knees better among the quiet fitters' fits, by a limit that all share and by each fit's own; who is told to
    scatter more."""

    shared: float
    own: float
    told: tuple[int, ...]


def studio(times: float, kind: str, rng: np.random.Generator, riders: int = 60, pairs: int = 30) -> Seen:
    """One studio: fitter 0 measures with so many times the noise; riders and repeat pairs (of both knees) for each fitter."""
    fitter = np.repeat(np.arange(FITTERS), 2 * pairs)
    rider = np.repeat(np.arange(FITTERS * pairs), 2)
    scale = NOISE_DEG * np.where(fitter == 0, times, 1.0)
    differences = scale * (_noise(kind, rng, len(fitter)) - _noise(kind, rng, len(fitter)))
    found = fitter_noise(noise_row("tilt", differences, rider, SETTINGS), differences, rider, fitter, SETTINGS)
    by = np.repeat(np.arange(FITTERS), 2 * riders)
    spread = NOISE_DEG * np.where(by == 0, times, 1.0)
    nearer = rng.normal(0.5, 0.6, len(by)) + spread * (_noise(kind, rng, len(by)) - _noise(kind, rng, len(by)))
    quiet = by != 0
    shared, own = nearer > (found.row.mdc95 or 0.0), nearer > found.limits(by)
    return Seen(float(shared[quiet].mean()), float(own[quiet].mean()), told(found))


def told(found: FitterNoise) -> tuple[int, ...]:
    return tuple(number for number, own in found.own.items() if scatters_more(own, SETTINGS))


def _noise(kind: str, rng: np.random.Generator, n: int) -> np.ndarray:
    """Noise of unit variance; that of a rider's two knees is half in common."""
    own = rng.standard_t(5, n) / (5 / 3) ** 0.5 if kind == "heavy" else rng.normal(size=n)
    return np.asarray(0.5**0.5 * (own + np.repeat(rng.normal(size=n // 2), 2)))


def studios(case: str, n: int) -> Iterator[Seen]:
    return (studio(*CASES[case], np.random.default_rng([seed, len(case)])) for seed in range(n))


def main(n: int = STUDIOS) -> None:
    """Prints one line a case as Markdown."""
    out = sys.stdout.write
    out(f"{n} studios, 60 riders and 30 riders with a repeat for each of six fitters.\n\n")
    out("| studio | knees better of the five, shared | by each fit's own | the noisy one told | another told |\n")
    out("|---|---|---|---|---|\n")
    for case, (times, _) in CASES.items():
        seen = list(studios(case, n))
        shared, own = (100 * float(np.mean([getattr(one, name) for one in seen])) for name in ("shared", "own"))
        noisy = sum(times > 1 and 0 in one.told for one in seen)
        others = sum(any(number or times == 1 for number in one.told) for one in seen)
        out(f"| {case} | {shared:.1f} % | {own:.1f} % | {noisy} | {others} |\n")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:2]))

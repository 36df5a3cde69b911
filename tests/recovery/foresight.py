"""Whether bands hold on riders who were never seen: `python -m tests.recovery.foresight 60=20 300=10` prints the table.

Each studio is simulated with riders more than it has (a third more, at least 100), by the scenarios of the effects' recovery;
the bands are made from its own riders alone, and held against the captures of the others.
"""

import sys
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from dashboard.questions.foresight.calibrated import ALL, HeldOut, calibrated, foreseen, held_out
from dashboard.questions.foresight.foreseer import foreseer_of
from dashboard.questions.models.captures import captures_of_rows
from dashboard.questions.models.frames import Frame, frame_of
from shared.settings import Settings
from shared.statistics.foresight.bands import band
from tests.recovery.scenarios import Scenario, forefoot_classes, simulated

LEVEL: Final = 0.8
# A share of fewer captures than this, over all studios, is told by chance alone.
_CAPTURES_OF_A_TYPE: Final = 1000
_FOREFOOT: Final = np.array(["valgus", "neutral", "mild_varus", "marked_varus"], dtype=object)
# Effects that differ by foot type, arch by arch with its forefoot classes: a little to twice as much.
_FACTORS: Final = tuple(tuple(factor * one for one in (1.0,) * 6) for factor in np.linspace(0.4, 2.0, 12))
KINDS: Final = (
    Scenario("by the noise of the arrival", by_measured=1.0, noise_deg=1.0),
    Scenario("by what nobody wrote down", by_true=1.0),
    Scenario("heavy tails", by_exam=0.4, by_measured=0.3, by_true=0.3, heavy_tailed=True),
    Scenario("drift", by_measured=1.0, drift_deg=0.2),
    Scenario("noise that both knees share", by_measured=1.0, shared=0.5),
    Scenario("effects differ between feet", by_exam=0.4, by_measured=0.3, by_true=0.3, factors=_FACTORS),
    Scenario("nothing acts", by_measured=1.0, noise_deg=1.0, has_effect=False),
)


@dataclass(frozen=True)
class Held:
    """Of one studio: the share of new riders' captures inside the band, and how many of those of each foot type with a band of
    its own are inside and how many there are; the mean width of the bands beside that of bands about the arrival with the mean
    change."""

    inside: float
    distance_inside: float
    of_types: dict[str, tuple[int, int]]
    width_ratio: float


def frame_with_types(scenario: Scenario, seed: int) -> Frame:
    rows = dict(simulated(scenario, np.random.default_rng([seed, scenario.riders])))
    kind = _FOREFOOT[forefoot_classes(rows["forefoot_angle_deg"])]
    rows["foot_type"] = np.array([f"{arch} arch, {one}" for arch, one in zip(rows["arch_height"], kind, strict=True)], object)
    return frame_of(captures_of_rows(rows), "tilt")


def studio(scenario: Scenario, riders: int, seed: int) -> Held:
    """One studio of `riders`, held against riders it never saw."""
    others = max(100, riders // 3)
    frame = frame_with_types(replace(scenario, riders=riders + others), seed)
    settings = Settings()
    own = frame.chosen(frame.captures.rider < riders)
    held = held_out(own, settings)
    kept = calibrated(held, LEVEL)
    new = foreseen(frame.captures.chosen(frame.captures.rider >= riders), foreseer_of(own, settings))
    low, high = band(new.spread(is_distance=False), kept.of(new.foot_type, is_distance=False))
    nearest, furthest = band(new.spread(is_distance=True), kept.of(new.foot_type, is_distance=True))
    distance = np.abs(new.measured)
    inside = (low <= new.measured) & (new.measured <= high)
    return Held(
        inside=float(inside.mean()),
        distance_inside=float(((nearest <= distance) & (distance <= furthest)).mean()),
        of_types={
            one: (int(inside[new.foot_type == one].sum()), int((new.foot_type == one).sum()))
            for one in kept.reach
            if one != ALL
        },
        width_ratio=float((high - low).mean() / plain_width(held)),
    )


def plain_width(held: HeldOut) -> float:
    """The width of an 80 % band about the arrival with the mean change, as wide as the studio's own captures ask for."""
    off = held.measured - held.arrival
    low, high = np.quantile(off, [(1 - LEVEL) / 2, (1 + LEVEL) / 2])
    return float(high - low)


def lines(sizes: dict[int, int]) -> Iterator[str]:
    yield "| scenario | riders | studios | inside | distance inside | by foot type, least to most | width |"
    yield "|---|---|---|---|---|---|---|"
    for scenario in KINDS:
        for riders, studios in sizes.items():
            made = [studio(scenario, riders, seed) for seed in range(studios)]
            inside, distance = ([getattr(one, name) for one in made] for name in ("inside", "distance_inside"))
            width = np.mean([one.width_ratio for one in made])
            yield (
                f"| {scenario.name} | {riders} | {studios} | {_percent(inside)} | {_percent(distance)} | {_of_types(made)} | "
                f"{width:.2f} |"
            )


def _of_types(made: list[Held]) -> str:
    """The least and the most inside of the foot types, each over all studios in which it has a band of its own."""
    total: dict[str, tuple[int, int]] = {}
    for one in made:
        for name, (n, of) in one.of_types.items():
            before = total.get(name, (0, 0))
            total[name] = (before[0] + n, before[1] + of)
    shares = [n / of for n, of in total.values() if of >= _CAPTURES_OF_A_TYPE]
    return f"{100 * min(shares):.1f} to {100 * max(shares):.1f} %" if shares else "-"


def _percent(shares: list[float] | NDArray[np.float64]) -> str:
    return f"{100 * float(np.mean(shares)):.1f} % (sd {100 * float(np.std(shares)):.1f})"


if __name__ == "__main__":
    for line in lines({int(size): int(n) for size, _, n in (one.partition("=") for one in sys.argv[1:])}):
        sys.stdout.write(line + "\n")
        sys.stdout.flush()

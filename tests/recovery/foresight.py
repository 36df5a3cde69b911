"""Studios of which it is asked whether bands hold on riders who were never seen; foresight_table.py makes the table.

Each studio is simulated with riders more than it has (a third more, 100 to 300), by the scenarios of the effects' recovery; the
bands are made from its own riders alone, and held against the captures of the others, who come after them.
"""

from dataclasses import dataclass, replace
from typing import Any, Final

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
_FOREFOOT: Final = np.array(["valgus", "neutral", "mild_varus", "marked_varus"], dtype=object)
# Effects that differ by foot type, arch by arch with its forefoot classes: a little to twice as much.
_FACTORS: Final = tuple(tuple(factor * one for one in (1.0,) * 6) for factor in np.linspace(0.4, 2.0, 12))
_BLEND: Final = Scenario("blend", by_exam=0.4, by_measured=0.3, by_true=0.3)


@dataclass(frozen=True)
class Kind:
    """What a studio's riders are like: `before`, and from the middle of its own riders on as `after`, where there is one."""

    name: str
    before: Scenario
    after: Scenario | None = None


KINDS: Final = (
    Kind("by the noise of the arrival", Scenario("measured", by_measured=1.0, noise_deg=1.0)),
    Kind("by what nobody wrote down", Scenario("true", by_true=1.0)),
    Kind("heavy tails", replace(_BLEND, heavy_tailed=True)),
    Kind("drift within a session", Scenario("drift", by_measured=1.0, drift_deg=0.2)),
    Kind("noise that both knees share", Scenario("shared", by_measured=1.0, shared=0.5)),
    Kind("effects differ between feet", replace(_BLEND, factors=_FACTORS)),
    Kind("nothing acts", Scenario("nothing", by_measured=1.0, noise_deg=1.0, has_effect=False)),
    Kind("practice changes: noise and effects half as much again", _BLEND,
         replace(_BLEND, noise_deg=0.9, factors=((1.5,) * 6,) * 12)),
    Kind("practice changes: noise a third less", replace(_BLEND, noise_deg=0.9), _BLEND),
)  # fmt: skip


@dataclass(frozen=True)
class Held:
    """Of one studio: the share of new riders' captures inside the band, and how many of those of each foot type with a band of
    its own are inside and how many there are; the mean width of the bands beside that of bands about the arrival with the mean
    change."""

    inside: float
    distance_inside: float
    of_types: dict[str, tuple[int, int]]
    width_ratio: float


def frame_with_types(kind: Kind, riders: int, changes_at: int, seed: int) -> Frame:
    """The frame of riders who come one after the other; from `changes_at` on they are as they are after the change."""
    rows = _rows(kind.before, riders, seed)
    if kind.after is not None:
        others = _rows(kind.after, riders, seed + 1_000_000)
        first, then = rows["rider"] < changes_at, others["rider"] >= changes_at
        rows = {name: np.concatenate([rows[name][first], others[name][then]]) for name in rows}
    classes = _FOREFOOT[forefoot_classes(rows["forefoot_angle_deg"])]
    rows["foot_type"] = np.array(
        [f"{arch} arch, {one}" for arch, one in zip(rows["arch_height"], classes, strict=True)], object
    )
    return frame_of(captures_of_rows(rows), "tilt")


def _rows(scenario: Scenario, riders: int, seed: int) -> dict[str, NDArray[Any]]:
    return dict(simulated(replace(scenario, riders=riders), np.random.default_rng([seed, riders])))


def studio(kind: Kind, riders: int, seed: int) -> Held:
    """One studio of `riders`, held against riders it never saw."""
    others = min(max(100, riders // 3), 300)
    frame = frame_with_types(kind, riders + others, riders // 2, seed)
    settings = Settings()
    own = frame.chosen(frame.captures.rider < riders)
    foreseer = foreseer_of(own, settings)
    held = held_out(own, settings, foreseer.ratios)
    # A visit's number is its rider's, and once all riders more for each visit before it.
    kept = calibrated(held, LEVEL, held.visit % (riders + others))
    new = foreseen(frame.captures.chosen(frame.captures.rider >= riders), foreseer)
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

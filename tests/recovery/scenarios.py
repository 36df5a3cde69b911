"""Simulated studios for the recovery of the effects: one generator, independent of the demo's, and a list of scenarios.

Each scenario says what a fitter goes by, what the noise is like, and what else is true. The truth is the same everywhere
unless a scenario says that nothing has an effect.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

TRUE_TILT_DEG = {
    "insole_low": 0.4,
    "insole_medium": 0.8,
    "insole_high": 1.1,
    "insole_custom": 1.0,
    "shim": 0.5,
    "stance": -0.12,
}
LEVELS = np.array(["none", "low", "medium", "high", "custom"], dtype=object)
MOST_CAPTURES = 6
Array = NDArray[Any]


@dataclass(frozen=True)
class Scenario:
    """`by_exam`, `by_measured`, `by_true`: weights of what the fitter's impression of the knee is made of. `factors`: by what
    each support's effect is multiplied in each foot type, arch by arch with its forefoot classes in order; nothing where empty.

    late: the share of a change that shows one capture later only. with_insole_deg: what a shim does more where the knee stands
    on an insole. bend_deg: what each shim after the first does more than the first. arch_drift_deg: how much further from
    capture to capture a knee drifts on a high arch than on a medium one, and less on a low one. in_turn: the share of fits that
    go through the supports in turn, insole, shims, stance, where others draw one. persists: how much of a capture's noise is
    there at the next.
    """

    name: str
    by_exam: float = 0.0
    by_measured: float = 0.0
    by_true: float = 0.0
    noise_deg: float = 0.6
    heavy_tailed: bool = False
    shared: float = 0.0
    drift_deg: float = 0.0
    visits: int = 2
    has_effect: bool = True
    variation: float = 0.25
    riders: int = 150
    late: float = 0.0
    with_insole_deg: float = 0.0
    bend_deg: float = 0.0
    arch_drift_deg: float = 0.0
    in_turn: float = 0.0
    persists: float = 0.0
    factors: tuple[tuple[float, ...], ...] = ()

    @property
    def is_by_record(self) -> bool:
        """Whether the choice depends on recorded things only, so that the pooled estimate alone should be sound."""
        return self.by_true == 0


_CHOICES = {
    "exam": {"by_exam": 1.0},
    "measured": {"by_measured": 1.0, "noise_deg": 1.0},
    "true": {"by_true": 1.0},
    "blend": {"by_exam": 0.4, "by_measured": 0.3, "by_true": 0.3},
}
_NOISES: dict[str, dict[str, Any]] = {"equal": {}, "heavy tails": {"heavy_tailed": True}, "shared": {"shared": 0.5}}


def scenarios() -> Iterator[Scenario]:
    """Every choice with every noise, then drift, one visit, many visits, strong variation and no effect at all."""
    for choice, weights in _CHOICES.items():
        for noise, kind in _NOISES.items():
            yield Scenario(f"{choice}, {noise} noise", **weights, **kind)
    blend = Scenario("blend", **_CHOICES["blend"])
    measured = Scenario("measured", **_CHOICES["measured"])
    yield replace(blend, name="blend, drift", drift_deg=0.2)
    yield replace(measured, name="measured, drift", drift_deg=0.2)
    yield replace(blend, name="blend, one visit", visits=1)
    yield replace(measured, name="measured, four visits", visits=4)
    yield replace(blend, name="blend, strong variation", variation=0.6)
    for choice, weights in _CHOICES.items():
        yield Scenario(f"no effect, {choice}", **weights, has_effect=False)
    yield Scenario("no effect, measured, shared noise", **_CHOICES["measured"], shared=0.5, has_effect=False)
    # Where practice is a routine, the third estimate has something to foresee.
    for choice in ("measured", "true", "blend"):
        yield Scenario(f"{choice}, in turn", **_CHOICES[choice], in_turn=0.9)
    yield Scenario("blend, in turn, strong variation", **_CHOICES["blend"], in_turn=0.9, variation=0.6)
    yield Scenario("blend, in turn, noise persists", **_CHOICES["blend"], in_turn=0.9, persists=0.5)
    yield Scenario("no effect, measured, in turn", **_CHOICES["measured"], in_turn=0.9, has_effect=False)


def forefoot_classes(forefoot_deg: Array) -> Array:
    """Valgus, neutral, mild and marked varus as 0 to 3, by the limits of the settings' defaults."""
    return np.asarray((forefoot_deg >= -2).astype(int) + (forefoot_deg > 2) + (forefoot_deg > 8))


def simulated(scenario: Scenario, rng: np.random.Generator) -> dict[str, Array]:
    """The rows of one studio as the effects question reads them, ordered by visit, side and capture."""
    studio = _Studio(scenario, rng)
    for visit in range(scenario.visits):
        studio.run_visit(visit)
    return studio.rows()


class _Studio:
    """Knees as arrays of shape (2 riders,): first all left ones, then all right ones."""

    def __init__(self, scenario: Scenario, rng: np.random.Generator) -> None:
        self.scenario, self.rng = scenario, rng
        n = scenario.riders
        self.n = n
        self.rider = np.tile(np.arange(n), 2)
        self.side = np.repeat(np.array(["left", "right"], dtype=object), n)
        self.arch = rng.integers(0, 3, 2 * n)
        self.collapse = rng.integers(0, 3, 2 * n)
        self.forefoot_deg = rng.normal(4, 4, 2 * n).round(1)
        self.exam_tilt = 0.5 * (self.arch - 1) - 0.4 * self.collapse - 0.08 * self.forefoot_deg
        self.base = self.exam_tilt + np.tile(rng.normal(0, 1.2, n), 2) + rng.normal(0, 1.3, 2 * n)
        scale = 1.0 if scenario.has_effect else 0.0
        spread = 1 + scenario.variation * rng.normal(size=(2 * n, 6))
        self.effects = scale * np.array(list(TRUE_TILT_DEG.values())) * spread
        if scenario.factors:
            self.effects *= np.array(scenario.factors)[4 * self.arch + forefoot_classes(self.forefoot_deg)]
        # What riders bring along is not the studio's doing, but goes a little with the knee.
        self.level = np.where(rng.random(2 * n) < 0.15, self.arch + 1, 0)
        self.shims = (rng.random(2 * n) < 0.2).astype(int)
        self.stance = np.zeros(2 * n)
        self.found: list[dict[str, Array]] = []

    def run_visit(self, visit: int) -> None:
        rng, scenario = self.rng, self.scenario
        comes = np.tile(rng.random(self.n) < (1.0 if visit == 0 else 0.45), 2)
        state = np.tile(rng.normal(0, 0.5, self.n), 2) + rng.normal(0, 0.2, 2 * self.n)
        lasts = np.tile(rng.integers(3, MOST_CAPTURES + 1, self.n), 2)
        before = self._supported()
        goes_in_turn = (
            np.tile(rng.random(self.n) < scenario.in_turn, 2) if scenario.in_turn else np.zeros(2 * self.n, dtype=bool)
        )
        self.left_over = np.zeros(2 * self.n)
        for capture in range(MOST_CAPTURES):
            here = comes & (capture < lasts)
            supported = self._supported()
            drift = scenario.drift_deg * capture**0.5 + scenario.arch_drift_deg * (self.arch - 1) * capture
            true = self.base + state + supported + scenario.late * (before - supported) + drift
            before = supported
            measured = true + self._noise()
            self._record(here, visit, capture, measured)
            seen = scenario.by_exam * self.exam_tilt + scenario.by_measured * measured + scenario.by_true * true
            # One capture in four is repeated with nothing changed.
            changes = here & np.tile(rng.random(self.n) > 0.25, 2)
            turn = np.where(goes_in_turn, capture % 3, -1)
            self._change(changes, seen + rng.normal(0, 0.4, 2 * self.n), turn)

    def _supported(self) -> Array:
        insole = np.where(self.level > 0, self.effects[np.arange(2 * self.n), np.maximum(self.level, 1) - 1], 0.0)
        shims = self.effects[:, 4] * self.shims + self.scenario.with_insole_deg * (self.level > 0) * self.shims
        shims = shims + self.scenario.bend_deg * np.maximum(self.shims - 1, 0)
        return np.asarray(insole + shims + self.effects[:, 5] * self.stance)

    def _noise(self) -> Array:
        rng, scenario = self.rng, self.scenario
        common = np.tile(rng.normal(size=self.n), 2)
        own = rng.standard_t(4, 2 * self.n) / 2**0.5 if scenario.heavy_tailed else rng.normal(size=2 * self.n)
        new = np.asarray(scenario.noise_deg * (scenario.shared**0.5 * common + (1 - scenario.shared) ** 0.5 * own))
        if scenario.persists and self.left_over.any():
            new = scenario.persists * self.left_over + (1 - scenario.persists**2) ** 0.5 * new
        self.left_over = new
        return new

    def _change(self, changes: Array, seen: Array, turn: Array) -> None:
        """One support of each knee, that whose turn it is or one drawn at random; the further inside the knee looks, the more
        it is raised."""
        rng = self.rng
        which = np.where(turn >= 0, turn, np.tile(rng.integers(0, 3, self.n), 2))
        wanted = np.select([seen > 0.3, seen > -0.7, seen > -1.8], [0, 1, 2], 3)
        wanted = np.where(rng.random(2 * self.n) < 0.12, 4, wanted)
        self.level = np.where(changes & (which == 0), wanted, self.level)
        step = (seen < -0.6).astype(int) - (seen > 0.9).astype(int)
        self.shims = np.where(changes & (which == 1), np.clip(self.shims + step, -1, 3), self.shims)
        wider = 2.0 * (seen > 0.5) - 1.0 * (seen < -0.8) + rng.integers(-1, 2, 2 * self.n)
        self.stance = np.where(changes & (which == 2), np.clip(self.stance + wider, -4, 14), self.stance)

    def _record(self, here: Array, visit: int, capture: int, measured: Array) -> None:
        self.found.append(
            {
                "rider": self.rider[here],
                "knee": np.flatnonzero(here),
                "visit": (self.rider + visit * self.n)[here],
                "session_knee": np.flatnonzero(here) + visit * 2 * self.n,
                "capture_no": np.full(here.sum(), capture + 1),
                "capture_order": np.full(here.sum(), capture),
                "side": self.side[here],
                "visit_kind": np.full(here.sum(), "first" if visit == 0 else "refit", dtype=object),
                "insole_level": LEVELS[self.level[here]],
                "total_shims": self.shims[here],
                "stance_mm": self.stance[here],
                "arch_height": np.array(["low", "medium", "high"], dtype=object)[self.arch[here]],
                "arch_collapse": np.array(["none", "some", "marked"], dtype=object)[self.collapse[here]],
                "heel_posture": np.full(here.sum(), "neutral", dtype=object),
                "squat_knee_path": np.full(here.sum(), "straight", dtype=object),
                "forefoot_angle_deg": self.forefoot_deg[here],
                "tilt": measured[here].round(2),
            }
        )

    def rows(self) -> dict[str, Array]:
        joined = {name: np.concatenate([part[name] for part in self.found]) for name in self.found[0]}
        order = np.lexsort((joined["capture_no"], joined["session_knee"]))
        return {name: column[order] for name, column in joined.items()}

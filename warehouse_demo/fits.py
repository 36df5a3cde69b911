"""One fit: captures, setups and the fitter's decisions in between."""

from copy import copy
from dataclasses import dataclass, field

import numpy as np

from warehouse_demo.riders import SIDES, Knee, Rider, Setup
from warehouse_demo.truth import OUTCOMES, Truth

LEVELS = ("none", "low", "medium", "high")
_STEPS = ("insole", "shim", "stance")
_MOST_CAPTURES = 8
# Beyond this tilt either way, a fitter who looks twice leaves out a change that would push the knee further.
_SECOND_LOOK_DEG = 1.0


@dataclass
class Fit:
    """The recordings of one session: for each capture and side the measured outcomes, and the setup as it stood."""

    n_captures: int = 0
    measured: list[dict[str, dict[str, float]]] = field(default_factory=list)
    true_tilt: list[dict[str, float]] = field(default_factory=list)
    setups: list[dict[str, Setup]] = field(default_factory=list)


@dataclass(frozen=True)
class Plan:
    """What the exam of one foot asks for, as this fitter reads it on this day; it now and then disagrees with the rules."""

    insole_level: str
    total_shims: int


class Session:
    """Runs one fit on one rider. The knees' setups are left as the rider goes home."""

    def __init__(
        self,
        truth: Truth,
        rng: np.random.Generator,
        rider: Rider,
        *,
        has_practice: bool = False,
        is_busy: bool = False,
        is_follow_up: bool = False,
    ) -> None:
        self._truth = truth
        self._rng = rng
        self._rider = rider
        self._has_practice = has_practice
        self._is_busy = is_busy
        self._is_follow_up = is_follow_up
        self._visit = {outcome: rng.normal(0, spread.visit) for outcome, spread in truth.spread.items()}
        self._knee_visit = {
            side: {outcome: rng.normal(0, spread.knee_visit) for outcome, spread in truth.spread.items()} for side in SIDES
        }
        self._plans = {side: _plan(rng, rider.knees[side]) for side in SIDES}
        self.fit = Fit()

    def run(self) -> Fit:
        """Arrival, sometimes a repeat, then one support after another with a capture after each."""
        self._capture()
        if self._rng.random() < self._truth.practice.repeat_capture[self._has_practice]:
            self._capture()
        for step in self._steps():
            if self.fit.n_captures < _MOST_CAPTURES and self._change(step):
                self._capture()
        if self.fit.n_captures == 1 or (self.fit.n_captures < _MOST_CAPTURES and self._rng.random() < 0.04):
            self._capture()
        return self.fit

    def _steps(self) -> list[str]:
        """Which supports are looked at, in turn. Smaller steps need a second round; a busy season or a follow-up is short."""
        rng, steps = self._rng, list(_STEPS)
        if rng.random() < 0.25:
            rng.shuffle(steps)
        if self._has_practice:
            steps += ["insole", "shim"] * int(rng.integers(1, 3))
        if (self._is_busy and rng.random() < 0.5) or self._is_follow_up:
            return steps[: len(steps) // 2 + 1]
        return [*steps, str(rng.choice(steps))] if rng.random() < 0.3 else steps

    def _capture(self) -> None:
        """Records both knees; the noise of one capture is partly common to them."""
        fit, order = self.fit, self.fit.n_captures
        common = {outcome: self._noise(outcome) for outcome in OUTCOMES}
        measured: dict[str, dict[str, float]] = {}
        true: dict[str, float] = {}
        for side in SIDES:
            state = {outcome: self._state(side, outcome, order) for outcome in OUTCOMES}
            true[side] = state["knee_tilt_deg"]
            measured[side] = {outcome: state[outcome] + self._seen_noise(outcome, common) for outcome in OUTCOMES}
            measured[side]["knee_sway_mm"] = max(0.0, measured[side]["knee_sway_mm"])
        fit.measured.append(measured)
        fit.true_tilt.append(true)
        fit.setups.append({side: copy(self._rider.knees[side].setup) for side in SIDES})
        fit.n_captures += 1

    def _noise(self, outcome: str) -> float:
        sd = self._truth.spread[outcome].noise
        if self._truth.choice.noise == "heavy_tailed":
            # Student's t with 4 degrees of freedom has variance 2; scaled to the same standard deviation.
            return float(self._rng.standard_t(4)) * sd / 2**0.5
        return float(self._rng.normal(0, sd))

    def _seen_noise(self, outcome: str, common: dict[str, float]) -> float:
        shared = self._truth.spread[outcome].shared
        return float(shared**0.5 * common[outcome] + (1 - shared) ** 0.5 * self._noise(outcome))

    def _state(self, side: str, outcome: str, order: int) -> float:
        knee = self._rider.knees[side]
        effects, setup = knee.effects[outcome], knee.setup
        supported = effects.get(f"insole_{setup.insole_level}", 0.0)
        supported += effects["shim"] * setup.total_shims + effects["stance"] * setup.stance_mm
        own = knee.base[outcome] + self._visit[outcome] + self._knee_visit[side][outcome]
        return float(own + supported + self._truth.spread[outcome].drift * order)

    def _change(self, step: str) -> bool:
        """Decides for each foot; true where anything was changed."""
        choose = {"insole": self._choose_insole, "shim": self._choose_shim, "stance": self._choose_stance}[step]
        changed = False
        for side in SIDES:
            knee = self._rider.knees[side]
            before = copy(knee.setup)
            if self._rng.random() < self._truth.practice.foot_considered[self._has_practice]:
                choose(knee, side, self._seen(side))
            if self._has_practice and self._would_push_away(before, knee.setup, self._seen(side)):
                knee.setup = before
            changed |= knee.setup != before
        return changed

    def _seen(self, side: str) -> float | None:
        """The tilt that this decision goes by, in degrees: None where it goes by the exam alone."""
        choice, draw = self._truth.choice, self._rng.random()
        if draw < choice.exam:
            return None
        if draw < choice.exam + choice.measured:
            return self._measured_tilt(side)
        return self.fit.true_tilt[-1][side]

    def _measured_tilt(self, side: str) -> float:
        """The last recorded tilt; with the new practice, the mean of the recordings with this very setup at the end."""
        tilts = [measured[side]["knee_tilt_deg"] for measured in self.fit.measured]
        if not self._has_practice:
            return tilts[-1]
        same = [setups[side] == self.fit.setups[-1][side] for setups in self.fit.setups]
        n = next((back for back, is_same in enumerate(reversed(same)) if not is_same), len(same))
        return float(np.mean(tilts[-n:]))

    @staticmethod
    def _would_push_away(before: Setup, after: Setup, seen: float | None) -> bool:
        """Whether a change drives an outward knee further out, or an inward one further in."""
        if seen is None:
            return False
        push = _lift(after) - _lift(before)
        return (push > 0 and seen > _SECOND_LOOK_DEG) or (push < 0 and seen < -_SECOND_LOOK_DEG)

    def _choose_insole(self, knee: Knee, side: str, seen: float | None) -> None:
        setup, wanted = knee.setup, self._plans[side].insole_level
        if setup.insole_level == "custom":
            return
        if seen is None and wanted == "custom":
            setup.insole_level = "custom"
            return
        at = LEVELS.index(setup.insole_level)
        # The further inside the knee stands, the higher the level.
        target = LEVELS.index(wanted) if seen is None else at + (seen < -0.6) + (seen < -1.4) - (seen > 1.2)
        reach = 1 if self._has_practice else 3
        setup.insole_level = LEVELS[int(np.clip(target, max(0, at - reach), min(3, at + reach)))]

    def _choose_shim(self, knee: Knee, side: str, seen: float | None) -> None:
        setup, total = knee.setup, knee.setup.total_shims
        wanted = self._plans[side].total_shims if seen is None else total + (seen < -0.5) + (seen < -2.5) - (seen > 1.5)
        reach = 1 if self._has_practice else 3
        setup.shims_added = int(np.clip(wanted, max(-1, total - reach), min(3, total + reach))) - setup.shims_built_in
        if not setup.shims_added:
            setup.shim_place = None
        elif setup.shim_place is None:
            setup.shim_place = "at_cleat" if self._rng.random() < 0.7 else "in_shoe"

    def _choose_stance(self, knee: Knee, side: str, seen: float | None) -> None:
        setup, rng, wide = knee.setup, self._rng, 2.0 if self._has_practice else 3.0
        if seen is None:
            step = {"outward": wide, "inward": -1.0, "straight": 0.0}[knee.squat_knee_path]
        else:
            step = wide if seen > 0.8 else -1.0 if seen < -0.8 else 0.0
        step += float(rng.choice([-1.0, 0.0, 1.0]))
        if step:
            setup.stance_mm = float(np.clip(setup.stance_mm + step, -4, 16))
            setup.stance_by = "cleat" if abs(setup.stance_mm) <= 4 else str(rng.choice(["spacer", "spindle"]))


def _plan(rng: np.random.Generator, knee: Knee) -> Plan:
    """The level follows the arch, the shims what the forefoot needs; both are misread now and then."""
    level = int(np.clip(LEVELS.index(knee.arch_height) + int(rng.choice([-1, 0, 1], p=[0.12, 0.76, 0.12])), 0, 3))
    is_custom = rng.random() < (0.32 if knee.arch_collapse == "marked" else 0.09)
    angle = knee.forefoot_angle_deg
    shims = (0 if angle <= 2 else 1 if angle <= 8 else 2) + int(rng.choice([-1, 0, 1], p=[0.08, 0.84, 0.08]))
    return Plan("custom" if is_custom else LEVELS[level], shims if angle < -2 else max(0, shims))


def _lift(setup: Setup) -> float:
    """How far a setup leans a knee outward, in steps; only its sign of change is used."""
    level = 2 if setup.insole_level == "custom" else LEVELS.index(setup.insole_level)
    return level + setup.total_shims - setup.stance_mm

"""One fit: captures, setups and the fitter's decisions in between."""

from copy import copy
from dataclasses import dataclass, field

import numpy as np

from warehouse_demo.riders import SIDES, Knee, Rider, Setup
from warehouse_demo.truth import OUTCOMES, Truth

LEVELS = ("none", "low", "medium", "high")
_MOST_CAPTURES = 8


@dataclass
class Fit:
    """The recordings of one session: for each capture and side the measured outcomes, and the setup as it stood."""

    n_captures: int = 0
    measured: list[dict[str, dict[str, float]]] = field(default_factory=list)
    true_tilt: list[dict[str, float]] = field(default_factory=list)
    setups: list[dict[str, Setup]] = field(default_factory=list)


class Session:
    """Runs one fit on one rider. The knees' setups are left as the rider goes home."""

    def __init__(self, truth: Truth, rng: np.random.Generator, rider: Rider, *, has_practice: bool, is_busy: bool) -> None:
        self._truth = truth
        self._rng = rng
        self._rider = rider
        self._has_practice = has_practice
        self._is_busy = is_busy
        self._visit = {outcome: rng.normal(0, spread.visit) for outcome, spread in truth.spread.items()}
        self._knee_visit = {
            side: {outcome: rng.normal(0, spread.knee_visit) for outcome, spread in truth.spread.items()} for side in SIDES
        }
        self.fit = Fit()

    def run(self) -> Fit:
        """Arrival, sometimes a repeat, then one support after another with a capture after each."""
        rng, practice = self._rng, self._truth.practice
        self._capture()
        if rng.random() < practice.repeat_capture[self._has_practice]:
            self._capture()
        steps = ["insole", "shim", "stance"]
        if rng.random() < 0.25:
            rng.shuffle(steps)
        if self._is_busy and rng.random() < 0.5:
            steps = steps[:2]
        if not self._is_busy and rng.random() < 0.35:
            steps.append(str(rng.choice(steps)))
        for step in steps:
            if self._change(step):
                self._capture()
        if self.fit.n_captures == 1 or rng.random() < 0.08:
            self._capture()
        return self.fit

    def _capture(self) -> None:
        """Records both knees; the noise of one capture is partly common to them."""
        fit, order = self.fit, self.fit.n_captures
        if order >= _MOST_CAPTURES:
            return
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
        changed = False
        for side in SIDES:
            knee = self._rider.knees[side]
            before = copy(knee.setup)
            if self._rng.random() < 0.8:
                {"insole": self._choose_insole, "shim": self._choose_shim, "stance": self._choose_stance}[step](knee, side)
            changed |= knee.setup != before
        return changed

    def _seen(self, side: str) -> float | None:
        """The tilt that this decision goes by: None where it goes by the exam."""
        choice, draw = self._truth.choice, self._rng.random()
        if draw < choice.exam:
            return None
        if draw < choice.exam + choice.measured:
            return self.fit.measured[-1][side]["knee_tilt_deg"]
        return self.fit.true_tilt[-1][side]

    def _choose_insole(self, knee: Knee, side: str) -> None:
        seen, rng = self._seen(side), self._rng
        if rng.random() < (0.2 if knee.arch_collapse == "marked" else 0.05):
            knee.setup.insole_level = "custom"
        elif seen is None:
            at = LEVELS.index(knee.arch_height)
            drift = int(rng.choice([-1, 0, 1], p=[0.12, 0.76, 0.12]))
            knee.setup.insole_level = LEVELS[int(np.clip(at + drift, 0, 3))]
        else:
            # The further inside the knee stands, the higher the level.
            knee.setup.insole_level = LEVELS[sum(seen < limit for limit in (0.3, -0.6, -1.6))]

    def _choose_shim(self, knee: Knee, side: str) -> None:
        seen, setup, rng = self._seen(side), knee.setup, self._rng
        if seen is None:
            wanted = 0 if knee.forefoot_angle_deg <= 2 else 1 if knee.forefoot_angle_deg <= 8 else 2
            wanted += int(rng.choice([-1, 0, 1], p=[0.08, 0.84, 0.08]))
            wanted = max(0, wanted) if knee.forefoot_angle_deg > -2 else wanted
        else:
            wanted = setup.total_shims + (1 if seen < -0.5 else 0) + (1 if seen < -2.5 else 0) - (1 if seen > 1.5 else 0)
        setup.shims_added = int(np.clip(wanted, -1, 3)) - setup.shims_built_in
        if setup.shims_added:
            setup.shim_place = "at_cleat" if rng.random() < 0.7 else "in_shoe"
        else:
            setup.shim_place = None

    def _choose_stance(self, knee: Knee, side: str) -> None:
        seen, setup, rng = self._seen(side), knee.setup, self._rng
        if seen is None:
            step = {"outward": 3.0, "inward": -1.0, "straight": 0.0}[knee.squat_knee_path]
        else:
            step = 3.0 if seen > 0.8 else -1.0 if seen < -0.8 else 0.0
        step += float(rng.choice([-1.0, 0.0, 1.0]))
        if step:
            setup.stance_mm = float(np.clip(setup.stance_mm + step, -4, 16))
            setup.stance_by = "cleat" if abs(setup.stance_mm) <= 4 else str(rng.choice(["spacer", "spindle"]))

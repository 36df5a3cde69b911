"""Invented riders, their feet and their knees."""

from dataclasses import dataclass, field

import numpy as np

from warehouse_demo.truth import OUTCOMES, Truth

SIDES = ("left", "right")
RIDING = ("road", "gravel", "mountain", "triathlon", "commuting", "indoor")
_RIDING_SHARES = (0.46, 0.18, 0.10, 0.08, 0.13, 0.05)
# Varus, neutral, valgus: Garbalosa et al. 1994.
_FOREFOOT_SHARES = (0.8667, 0.0458, 0.0875)
_SAME_FOREFOOT = 0.6
# Typical size and spread of each measure of a bicycle, mm.
_MEASURES_MM = {
    "saddle_height": (735.0, 12.0),
    "saddle_setback": (62.0, 14.0),
    "bar_reach": (472.0, 28.0),
    "bar_drop": (45.0, 30.0),
}
SUPPORTS = ("insole_low", "insole_medium", "insole_high", "insole_custom", "shim", "stance")


@dataclass
class Setup:
    """The supports of one foot as they stand."""

    insole_level: str = "none"
    shims_added: int = 0
    shims_built_in: int = 0
    shim_place: str | None = None
    stance_mm: float = 0.0
    stance_by: str | None = None

    @property
    def total_shims(self) -> int:
        return self.shims_added + self.shims_built_in


@dataclass
class Knee:
    """One foot with its exam and its knee: `base` and `effects` by outcome, before supports, noise and visits."""

    arch_height: str
    arch_collapse: str
    heel_posture: str
    forefoot_angle_deg: float
    squat_knee_path: str
    foot_posture_index: int
    base: dict[str, float]
    effects: dict[str, dict[str, float]]
    setup: Setup = field(default_factory=Setup)


@dataclass
class Bike:
    """The rider's bicycle as it stands: the saddle, and measures in mm by name."""

    saddle_width_mm: float
    saddle_condition: str
    measures_mm: dict[str, float]


@dataclass(frozen=True)
class Feeling:
    """How a rider feels without any help of a fit: mood and how much `part` hurts, in points of 10."""

    mood: float
    hurts: float
    part: str


@dataclass
class Rider:
    """One rider; `severity_deg` is how far the worse knee stands from neutral, which decides who is referred.

    feeling: the rider's own, known from the first visit. gained: the comfort that the fits so far gave and that is still
    felt, in points.
    """

    rider_id: str
    birth_year: int
    sex: str
    height_cm: float
    mass_kg: float
    riding: str
    sit_bone_width_mm: float
    hip_flexion_deg: tuple[float, float]
    knees: dict[str, Knee]
    severity_deg: float
    bike: Bike
    feeling: Feeling | None = None
    gained: float = 0.0


def make_riders(truth: Truth, rng: np.random.Generator, n: int) -> list[Rider]:
    """`n` riders; the two feet of a rider are alike, not equal."""
    return [_rider(truth, rng, f"R{number:04d}") for number in range(1, n + 1)]


def _rider(truth: Truth, rng: np.random.Generator, rider_id: str) -> Rider:
    sex = str(rng.choice(["female", "male", "other"], p=[0.37, 0.62, 0.01]))
    height = rng.normal(168 if sex == "female" else 179, 6.5)
    common = {outcome: rng.normal(0, truth.spread[outcome].rider) for outcome in OUTCOMES}
    arch = str(rng.choice(["low", "medium", "high"], p=[0.27, 0.52, 0.21]))
    forefoot = _forefoot_kind(rng)
    knees = {side: _knee(truth, rng, common, arch, forefoot) for side in SIDES}
    return Rider(
        rider_id=rider_id,
        birth_year=int(np.clip(rng.normal(1982, 12), 1940, 2008)),
        sex=sex,
        height_cm=round(float(np.clip(height, 145, 205)), 0),
        mass_kg=round(float(np.clip(rng.normal(23.5, 2.8) * (height / 100) ** 2, 42, 140)), 1),
        riding=str(rng.choice(RIDING, p=_RIDING_SHARES)),
        sit_bone_width_mm=round(float(rng.normal(124 if sex == "female" else 114, 11)), 0),
        hip_flexion_deg=(round(float(rng.normal(112, 9)), 0), round(float(rng.normal(112, 9)), 0)),
        knees=knees,
        severity_deg=max(abs(knee.base["knee_tilt_deg"]) for knee in knees.values()),
        bike=_bike(rng, height),
    )


def _bike(rng: np.random.Generator, height_cm: float) -> Bike:
    sizes = {name: round(typical + spread * float(rng.normal())) for name, (typical, spread) in _MEASURES_MM.items()}
    sizes["saddle_height"] += round(4.2 * (height_cm - 174))
    return Bike(
        saddle_width_mm=float(rng.choice([130, 138, 143, 150, 155, 168])),
        saddle_condition=str(rng.choice(["sound", "bent", "broken", "crooked"], p=[0.9, 0.04, 0.02, 0.04])),
        measures_mm={name: float(size) for name, size in sizes.items()},
    )


def _forefoot_kind(rng: np.random.Generator) -> str:
    return str(rng.choice(["varus", "neutral", "valgus"], p=_FOREFOOT_SHARES))


def _forefoot_angle(rng: np.random.Generator, kind: str) -> float:
    if kind == "neutral":
        return float(rng.uniform(-2.0, 2.0))
    size = 2.1 + float(rng.gamma(2.2, 1.7))
    return min(size, 18.0) if kind == "varus" else -min(size, 12.0)


def _knee(truth: Truth, rng: np.random.Generator, common: dict[str, float], rider_arch: str, rider_forefoot: str) -> Knee:
    arch = rider_arch if rng.random() < 0.85 else str(rng.choice(["low", "medium", "high"]))
    kind = rider_forefoot if rng.random() < _SAME_FOREFOOT else _forefoot_kind(rng)
    angle = round(_forefoot_angle(rng, kind), 1)
    collapse = str(rng.choice(["none", "some", "marked"], p={"low": (0.35, 0.42, 0.23)}.get(arch, (0.68, 0.26, 0.06))))
    base = {outcome: spread.level + common[outcome] + rng.normal(0, spread.knee) for outcome, spread in truth.spread.items()}
    by_foot = truth.spread["knee_tilt_deg"].level + _foot_effect(truth, arch, angle, collapse)
    base["knee_tilt_deg"] += by_foot - truth.spread["knee_tilt_deg"].level
    squat = by_foot + truth.choice.squat_sees * (base["knee_tilt_deg"] - by_foot) + rng.normal(0, 1.5)
    effects = {
        outcome: {
            name: getattr(truth.effects[outcome], name) * (1 + truth.choice.variation * rng.normal()) for name in SUPPORTS
        }
        for outcome in OUTCOMES
    }
    return Knee(
        arch_height=arch,
        arch_collapse=collapse,
        heel_posture=str(
            rng.choice(["inverted", "neutral", "everted"], p=(0.1, 0.5, 0.4) if collapse != "none" else (0.2, 0.65, 0.15))
        ),
        forefoot_angle_deg=angle,
        squat_knee_path=_path(float(squat)),
        foot_posture_index=int(np.clip(round(rng.normal({"low": 7, "medium": 4, "high": 0}[arch], 2)), -12, 12)),
        base=base,
        effects=effects,
        setup=_arrival_setup(rng, arch),
    )


def _path(seen: float) -> str:
    return "inward" if seen < -1.2 else "outward" if seen > 1.2 else "straight"


def _foot_effect(truth: Truth, arch: str, angle: float, collapse: str) -> float:
    foot = truth.foot
    return (
        {"low": foot.arch_low, "high": foot.arch_high}.get(arch, 0.0)
        + foot.forefoot_per_deg * angle
        + {"some": foot.collapse_some, "marked": foot.collapse_marked}.get(collapse, 0.0)
    )


def _arrival_setup(rng: np.random.Generator, arch: str) -> Setup:
    """What riders bring along: some shoes carry a shim in the sole, some an insole."""
    setup = Setup(shims_built_in=int(rng.random() < 0.18))
    if rng.random() < 0.14:
        setup.insole_level = arch if rng.random() < 0.6 else "medium"
    return setup

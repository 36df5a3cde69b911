"""What is true of the simulated studios, read from truth.toml into frozen settings that a test may replace."""

from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from shared.toml_file import read_toml

TRUTH = Path(__file__).with_name("truth.toml")
NOISES = ("normal", "heavy_tailed")
OUTCOMES = ("knee_tilt_deg", "knee_sway_mm", "knee_offset_mm")


@dataclass(frozen=True)
class Scale:
    """How many riders and when; `repeat_visits` is the share of attended follow-ups that become a recorded visit, and refits
    are in proportion to it: at 0 every rider has one visit."""

    seed: int
    riders: int
    first_day: date
    last_day: date
    change_day: date
    repeat_visits: float


@dataclass(frozen=True)
class Supports:
    """The effect of each support on one outcome, in its unit; shim: a varus shim; stance: one mm outward."""

    insole_low: float
    insole_medium: float
    insole_high: float
    insole_custom: float
    shim: float
    stance: float


@dataclass(frozen=True)
class Spread:
    """Level, standard deviations, share of the noise variance common to both knees, and drift a capture of one outcome."""

    level: float
    rider: float
    knee: float
    visit: float
    knee_visit: float
    noise: float
    shared: float
    drift: float


@dataclass(frozen=True)
class Foot:
    """What the foot does to the tilt, in degrees."""

    arch_low: float
    arch_high: float
    forefoot_per_deg: float
    collapse_some: float
    collapse_marked: float


@dataclass(frozen=True)
class Choice:
    """How a fitter decides, and what stands in the way of seeing it.

    exam, measured, true: shares of decisions by the exam, by the tilt just measured, by the true tilt; they add up to 1.
    squat_sees: how much of a knee's own habit the squat of the exam shows; at 0 the exam holds nothing about the knee
    beyond arch, forefoot angle and collapse. variation: spread of an effect between knees, as a share of it.
    noise: normal or heavy_tailed (Student's t, 4 degrees of freedom, same standard deviation).
    """

    exam: float
    measured: float
    true: float
    squat_sees: float
    variation: float
    noise: str

    def __post_init__(self) -> None:
        if abs(self.exam + self.measured + self.true - 1) > 1e-9 or min(self.exam, self.measured, self.true) < 0:
            raise ValueError(f"choice: exam, measured and true are {self.exam}, {self.measured}, {self.true}; they add up to 1")
        if self.noise not in NOISES:
            raise ValueError(f"choice: noise is {self.noise!r}, expected one of {', '.join(NOISES)}")


@dataclass(frozen=True)
class Practice:
    """Shares (comfort_gain: points) before and after the change of practice; foot_considered: of the feet at each step."""

    repeat_capture: tuple[float, float]
    foot_considered: tuple[float, float]
    booked: tuple[float, float]
    booked_same_day: tuple[float, float]
    attended: tuple[float, float]
    comfort_gain: tuple[float, float]
    bike_measured: tuple[float, float]
    exam_complete: tuple[float, float]


@dataclass(frozen=True)
class Ratings:
    """What riders say, in points of 10.

    mood, mood_spread: mean and standard deviation of comfort at a first visit. persists: how much of a rider's own mood and
    pain is found again at the next visit, from 0 to 1. held_all, held_some, held_none: the share of the comfort gained that
    is still felt at the next visit, by how much of the setup was kept. much_better, much_better_spread: from how many points of
    comfort gained on a rider calls it much better, mean and standard deviation; said_noise: of what is said about it.
    """

    mood: float
    mood_spread: float
    persists: float
    held_all: float
    held_some: float
    held_none: float
    much_better: float
    much_better_spread: float
    said_noise: float


@dataclass(frozen=True)
class Truth:
    """Everything the simulator knows; `effects` and `spread` by outcome column."""

    scale: Scale
    effects: dict[str, Supports]
    spread: dict[str, Spread]
    foot: Foot
    choice: Choice
    practice: Practice
    ratings: Ratings


def load_truth(path: Path = TRUTH) -> Truth:
    """The truth of a file; unknown and missing keys raise TypeError, since the file is the project's own."""
    content: dict[str, Any] = read_toml(path, f"Truth {path}")
    return Truth(
        scale=Scale(**content["scale"]),
        effects={outcome: Supports(**content["effects"][outcome]) for outcome in OUTCOMES},
        spread={outcome: Spread(**content["spread"][outcome]) for outcome in OUTCOMES},
        foot=Foot(**content["foot"]),
        choice=Choice(**content["choice"]),
        practice=Practice(**{name: tuple(pair) for name, pair in content["practice"].items()}),
        ratings=Ratings(**content["ratings"]),
    )
